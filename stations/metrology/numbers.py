"""Numbers that formulas can use: checked (no NaN, no infinities), exact, rounded once."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Context, Decimal

import numpy as np
import numpy.typing as npt

from stations.metrology.errors import BadValueError

Real = float | int | Decimal
Floats = npt.NDArray[np.float64]

# No quantity of a bar comes near these; beyond them squares and quotients would overflow.
LARGEST = 1e12
SMALLEST = 1e-12

# Products of a calibration, a volume and a percentage need more than the usual 28 digits to
# stay exact. 120 is far above anything that `require_plain` lets through.
EXACT = Context(prec=120, rounding=ROUND_HALF_UP)
LARGEST_EXPONENT = 18
SMALLEST_EXPONENT = -18
ONE = Decimal(1)


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


# Rounding to a machine's resolution: once, exact, and the same in Python and in SQL.


def require_plain(field: str, value: Decimal) -> Decimal:
    """Return ``value`` if it is a finite decimal of ordinary size (1e-18 to 1e18).

    Raises BadValueError naming ``field`` for anything that is not a Decimal, for NaN and
    infinities, and for numbers with digits beyond the 18th on either side of the point.
    """
    if not isinstance(value, Decimal):
        raise BadValueError(field, value, "a decimal number")
    if not value.is_finite():
        raise BadValueError(field, value, "a finite number")
    exponent = value.as_tuple().exponent
    too_fine = isinstance(exponent, int) and exponent < SMALLEST_EXPONENT
    if too_fine or (value and value.adjusted() > LARGEST_EXPONENT):
        raise BadValueError(
            field, value, "a number with at most 18 digits on either side of the point"
        )
    return value


def to_resolution(value: Decimal, resolution: Decimal) -> Decimal:
    """Round ``value`` to the nearest multiple of ``resolution``, ties away from zero.

    Both are in the same unit, and so is the result. Exact: no binary fraction is involved, and
    the result equals SQL ``round(value / resolution) * resolution`` on ``numeric`` wherever that
    division ends within SQL's digits (powers of ten, 0.5, 0.25 and the like always do).

    Raises BadValueError for a value that is not a finite decimal and for a resolution that is not
    above zero.
    """
    require_plain("value", value)
    require_plain("resolution", resolution)
    if resolution <= 0:
        raise BadValueError("resolution", resolution, "a number above 0")
    return nearest_multiple(value, resolution)


def nearest_multiple(value: Decimal, resolution: Decimal) -> Decimal:
    """Do the work of `to_resolution` for values already known to be plain."""
    whole, rest = EXACT.divmod(abs(value), resolution)
    if rest + rest >= resolution:
        whole += ONE
    rounded = EXACT.multiply(whole, resolution)
    return -rounded if value < 0 and rounded else rounded
