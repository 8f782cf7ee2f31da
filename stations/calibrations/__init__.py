"""Calibrations."""
