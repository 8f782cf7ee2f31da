"""The recipes part of the HTTP API."""
