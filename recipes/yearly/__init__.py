"""A year of one site, counted from the history and from what it holds."""
