"""The one error of this package and its checks: a bad value is named, never computed with."""

from __future__ import annotations

import math
from decimal import Decimal
from numbers import Real

from stations.metrology.errors import BadValueError


class QuantityError(BadValueError):
    """A value no computation here can use; names the field, the value and what is allowed.

    A kind of metrology's error, so that a caller of both needs to know only that one.
    """


def exact(field: str, value: Decimal | int, *, least: Decimal, most: Decimal) -> Decimal:
    """Return `value` as a Decimal within [least, most].

    Raises QuantityError for a float (not exact), NaN, an infinity or a value outside.
    """
    allowed = f"an exact decimal from {least:f} to {most:f}"
    if isinstance(value, bool) or not isinstance(value, Decimal | int):
        raise QuantityError(field, value, allowed)
    number = Decimal(value)
    if not number.is_finite() or not least <= number <= most:
        raise QuantityError(field, value, allowed)
    return number


def real(field: str, value: float, *, least: float = -math.inf, most: float = math.inf) -> float:
    """Return `value` as a finite float within [least, most].

    Raises QuantityError for anything that is not a number, NaN, an infinity or a value outside.
    """
    allowed = f"a number from {least:g} to {most:g}"
    if isinstance(value, bool) or not isinstance(value, Real | Decimal):
        raise QuantityError(field, value, allowed)
    try:
        number = float(value)
    except (OverflowError, ValueError):
        raise QuantityError(field, value, allowed) from None
    if not math.isfinite(number) or not least <= number <= most:
        raise QuantityError(field, value, allowed)
    return number


def whole(field: str, value: int, *, least: int, most: int) -> int:
    """Return `value` as an int within [least, most]. Raises QuantityError otherwise."""
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise QuantityError(field, value, f"a whole number from {least} to {most}")
    return value
