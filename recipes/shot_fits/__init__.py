"""The shot model fitted to a station's check shots: asked for, run by a worker, put to use."""
