"""Sealing the history: canonical bytes, the stored tree, signed checkpoints, proofs."""
