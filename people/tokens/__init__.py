"""API tokens: made by a person, never for more than that person may."""
