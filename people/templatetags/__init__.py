"""Template tags of people."""
