"""Signatures."""
