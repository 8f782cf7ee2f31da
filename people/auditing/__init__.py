"""Asking for checks of the whole history."""
