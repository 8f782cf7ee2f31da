"""The one error of this package and its checks: a bad value is named, never computed with."""

from __future__ import annotations

import math
from decimal import Decimal


class QuantityError(ValueError):
    """A value no computation here can use; names the field, the value and what is allowed."""

    def __init__(self, field: str, value: object, allowed: str) -> None:
        super().__init__(f"{field}: {value!s:.80} is not usable; allowed: {allowed}")
        self.field = field
        self.value = value
        self.allowed = allowed


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
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        try:
            number = float(value.__float__())  # numpy scalars; strings have no __float__
        except (AttributeError, TypeError, ValueError):
            raise QuantityError(field, value, allowed) from None
    else:
        number = _as_float(field, value, allowed)
    if not math.isfinite(number) or not least <= number <= most:
        raise QuantityError(field, value, allowed)
    return number


def whole(field: str, value: int, *, least: int, most: int) -> int:
    """Return `value` as an int within [least, most]. Raises QuantityError otherwise."""
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise QuantityError(field, value, f"a whole number from {least} to {most}")
    return value


def _as_float(field: str, value: float | Decimal, allowed: str) -> float:
    try:
        return float(value)
    except (OverflowError, ValueError):
        raise QuantityError(field, value, allowed) from None
