"""Menus."""
