"""Commands of the equipment."""
