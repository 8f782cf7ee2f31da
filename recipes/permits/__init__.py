"""Deviation permits: signed, for named slots, until a day."""
