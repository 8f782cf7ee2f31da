"""Check shots, and their verdict against the tolerances."""
