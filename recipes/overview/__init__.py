"""Across matters: what waits for somebody, a parameter over time, a site's year."""
