"""Commands of recipes."""
