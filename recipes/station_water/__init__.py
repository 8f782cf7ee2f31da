"""Station water."""
