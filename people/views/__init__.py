"""Pages of people."""
