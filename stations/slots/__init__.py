"""Slots."""
