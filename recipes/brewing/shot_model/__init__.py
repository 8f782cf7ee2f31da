"""Shot model: a Darcy puck under a pressure plan, with two-pool extraction.

Lumped, not resolved in depth: one bed, evenly wetted from the top, its liquid well mixed. It gives
flow, pressure, mass and strength over time to the accuracy one needs to compare two settings; it
knows nothing of channels, crema or taste. Parameters' magnitudes and sources: `parameters`.
"""
