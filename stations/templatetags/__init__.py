"""Tags of the equipment's pages."""
