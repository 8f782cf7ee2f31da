"""Requests."""
