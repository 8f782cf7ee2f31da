"""Brewing: ratio, extraction, water balance, pressure plans, shot model, taste tests. No Django."""
