"""Witnesses of the history: offering them checkpoints, keeping their cosignatures, saying so."""
