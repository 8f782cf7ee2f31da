"""Keeping the history by months: partitions, and archives of those that are closed."""
