"""Translation."""
