"""Machine types: what a kind of machine can be set to."""
