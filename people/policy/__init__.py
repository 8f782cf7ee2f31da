"""Policy."""
