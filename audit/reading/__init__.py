"""Reading."""
