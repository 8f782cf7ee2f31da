"""Lots on the bar: which roast lot a grinder, or a station by itself, brews from when on."""
