"""Shots."""
