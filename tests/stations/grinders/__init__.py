"""Tests of grinders."""
