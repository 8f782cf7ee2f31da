"""What is signed, and the proofs that lead to it, as people and programs take them away."""
