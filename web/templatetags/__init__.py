"""Template tags every page may load."""
