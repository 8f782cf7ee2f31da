"""Blind tastings: planned, served, answered, locked, opened, and attached as evidence."""
