"""Tests of opening checks."""
