"""Persons."""
