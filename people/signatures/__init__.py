"""Signatures: who, in which role, meaning what, over which content."""
