"""Out of tolerance."""
