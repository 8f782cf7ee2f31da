"""Rounding to a machine's resolution: once, exact, and the same in Python and in SQL."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Context, Decimal

from stations.metrology.errors import BadValueError

# Products of a calibration, a volume and a percentage need more than the usual 28 digits to
# stay exact. 120 is far above anything that `require_plain` lets through.
EXACT = Context(prec=120, rounding=ROUND_HALF_UP)
LARGEST_EXPONENT = 18
SMALLEST_EXPONENT = -18
ONE = Decimal(1)


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
