"""Template tags of recipes."""
