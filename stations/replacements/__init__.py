"""Replacing parts of the equipment: the technician's events, and what they end."""
