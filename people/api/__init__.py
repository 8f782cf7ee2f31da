"""The people part of the HTTP API."""
