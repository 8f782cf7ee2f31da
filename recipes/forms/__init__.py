"""Forms of recipes' pages; what is allowed is decided by the actions."""
