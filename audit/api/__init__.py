"""The audit part of the HTTP API."""
