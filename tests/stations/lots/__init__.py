"""Tests of lots on the bar."""
