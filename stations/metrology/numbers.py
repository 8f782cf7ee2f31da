"""Checks that keep NaN, infinities and impossible quantities out of the formulas."""

from __future__ import annotations

import math
from decimal import Decimal

from stations.metrology.errors import BadValueError

Real = float | int | Decimal


def number(
    field: str,
    value: object,
    unit: str = "",
    *,
    low: float = -math.inf,
    high: float = math.inf,
    above: float | None = None,
) -> float:
    """Return ``value`` as a float after checking that it is finite and within bounds.

    ``low`` and ``high`` are allowed themselves, ``above`` is not. Raises BadValueError naming
    ``field`` for text, booleans, NaN, infinities and anything out of bounds.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        raise BadValueError(field, value, _range(unit, low, high, above))
    try:
        result = float(value)
    except (OverflowError, ValueError):
        raise BadValueError(field, value, _range(unit, low, high, above)) from None
    if not math.isfinite(result) or not low <= result <= high:
        raise BadValueError(field, value, _range(unit, low, high, above))
    if above is not None and result <= above:
        raise BadValueError(field, value, _range(unit, low, high, above))
    return result


def _range(unit: str, low: float, high: float, above: float | None) -> str:
    """Return the allowed range in words: "a number from 0 to 14 pH"."""
    parts = []
    if above is not None:
        parts.append(f"above {above:g}")
    elif low > -math.inf:
        parts.append(f"from {low:g}")
    if high < math.inf:
        parts.append(f"to {high:g}" if parts and above is None else f"at most {high:g}")
    return " ".join(part for part in ["a number", *parts, unit] if part)
