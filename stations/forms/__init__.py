"""Forms of the equipment's pages; what is allowed is decided by the actions."""
