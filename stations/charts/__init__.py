"""Control charts of check shots, their baselines, and drift."""
