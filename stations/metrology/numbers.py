"""Checks that keep NaN, infinities and impossible quantities out of the formulas."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from stations.metrology.errors import BadValueError

Real = float | int | Decimal
Floats = npt.NDArray[np.float64]

# No quantity of a bar comes near these; beyond them squares and quotients would overflow.
LARGEST = 1e12
SMALLEST = 1e-12


def number(
    field: str,
    value: object,
    unit: str = "",
    *,
    low: float = -LARGEST,
    high: float = LARGEST,
    above: float | None = None,
) -> float:
    """Return ``value`` as a float after checking that it is finite and within bounds.

    ``low`` and ``high`` are allowed themselves, ``above`` is not, nor what is within 1e-12 of it.
    Raises BadValueError naming
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
    if above is not None and result < above + SMALLEST:
        raise BadValueError(field, value, _range(unit, low, high, above))
    return result


def _range(unit: str, low: float, high: float, above: float | None) -> str:
    """Return the allowed range in words: "a number from 0 to 14 pH"."""
    parts = []
    if above is not None:
        parts.append(f"above {above:g}")
    elif low > -LARGEST:
        parts.append(f"from {low:g}")
    if high < LARGEST:
        parts.append(f"to {high:g}" if parts and above is None else f"at most {high:g}")
    return " ".join(part for part in ["a number", *parts, unit] if part)


def series(
    field: str, values: Iterable[Real] | Floats, unit: str = "", *, at_least: int = 1
) -> Floats:
    """Return ``values`` as a one-dimensional array of floats, all finite.

    Raises BadValueError naming ``field`` and the position (from 1) of the first value that isn't
    finite or is beyond 1e12, or the count if there are fewer than ``at_least``.
    """
    try:
        array = np.asarray(values if hasattr(values, "__len__") else list(values), dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise BadValueError(field, values, f"a list of numbers {unit}".rstrip()) from None
    if array.ndim != 1 or array.size < at_least:
        raise BadValueError(field, f"{array.size} values", f"at least {at_least} in one list")
    # One pass each, no temporary array: a comparison with NaN is false, and so is caught too.
    if not (array.max() <= LARGEST and array.min() >= -LARGEST):
        place = int(np.flatnonzero(~(np.abs(array) <= LARGEST))[0])
        allowed = f"a finite number {unit}".rstrip()
        raise BadValueError(f"{field}, value {place + 1}", array[place], allowed)
    return array
