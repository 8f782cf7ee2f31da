"""Accepting a calibration: what is in force is translated again, under a signature."""
