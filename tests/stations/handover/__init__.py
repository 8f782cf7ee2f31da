"""Tests of hand-over notes."""
