"""Overview."""
