"""Versions."""
