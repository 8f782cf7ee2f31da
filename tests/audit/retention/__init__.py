"""Partitions and archives of the history."""
