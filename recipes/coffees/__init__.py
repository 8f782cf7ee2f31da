"""Coffees."""
