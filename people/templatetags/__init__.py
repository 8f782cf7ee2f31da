"""Template tags shared by every page."""
