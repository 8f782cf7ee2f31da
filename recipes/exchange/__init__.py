"""Recipes as files: JSON with a published schema, and a spreadsheet; out, and in as drafts."""
