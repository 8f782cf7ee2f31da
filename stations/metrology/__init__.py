"""Pure measurement arithmetic: translation, calibration, atmosphere, control charts, water.

Knows no Django and no database. Every function raises `errors.BadValueError` (a ValueError naming
the field, the value and what is allowed) for input that it cannot use, and never returns NaN.
"""
