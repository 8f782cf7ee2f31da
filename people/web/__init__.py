"""What every page and endpoint is built with; the rules themselves live in the actions."""
