"""The stations part of the HTTP API."""
