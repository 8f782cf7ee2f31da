"""Modelling."""
