"""Ledger: canonical bytes, Merkle tree, proofs, signed checkpoints, offline check. No Django."""
