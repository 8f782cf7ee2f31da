"""Recalibration."""
