"""The history over the API."""
