"""Shots against tolerance: bar by bar, and whether all bars pour the recipe."""
