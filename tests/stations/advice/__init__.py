"""Tests of what is advised after a shot."""
