"""Templatetags."""
