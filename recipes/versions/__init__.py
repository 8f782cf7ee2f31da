"""Recipes and their numbered versions: drafts, review, approval, digest."""
