"""From a computed float to the decimal a page prints, rounded half-up once."""

from decimal import ROUND_HALF_UP, Decimal


def rounded(value: float, places: int) -> Decimal:
    """``value`` to so many decimal places; a float's shortest digits stand for it."""
    found = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)
    return found + 0  # never minus zero
