"""Menus: versioned arrangements of drinks on slot numbers, which sites follow."""
