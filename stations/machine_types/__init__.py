"""Machine types."""
