"""Embedded."""
