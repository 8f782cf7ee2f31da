"""Formula."""
