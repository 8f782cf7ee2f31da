"""Sign in."""
