"""Commands of the history."""
