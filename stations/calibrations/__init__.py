"""Calibrations: runs of a flow meter, readings of a probe, what they come to."""
