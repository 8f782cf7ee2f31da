"""Walkthrough."""
