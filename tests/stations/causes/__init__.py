"""Tests of causes of drift."""
