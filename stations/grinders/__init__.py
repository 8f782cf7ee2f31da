"""Grinders: their marks, the stations they serve, and the log of how they were set."""
