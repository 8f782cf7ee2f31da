"""Tablets that a site's people share: enrolled once, taken over by PIN."""
