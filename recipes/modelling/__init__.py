"""The shot model fitted to a station's check shots, and what it predicts."""
