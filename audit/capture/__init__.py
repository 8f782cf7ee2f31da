"""Capture: triggers record every change of a governed row, with who is acting and why."""
