"""Equipment."""
