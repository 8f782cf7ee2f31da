"""Brew ratio and extraction yield in exact decimals, as a draft shows them."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from recipes.brewing.errors import exact, whole

LEAST_MASS = Decimal("0.001")  # g; below it a scale behind a bar shows nothing
MOST_MASS = Decimal(100_000)  # g


def brew_ratio(dose: Decimal | int, beverage: Decimal | int, *, places: int = 1) -> Decimal:
    """Beverage mass over dose, rounded half-up once to `places` decimals (18 g, 36 g → 2.0).

    dose, beverage in g, exact decimals from 0.001 to 100,000. Formula: beverage / dose
    (definition; common practice of the trade). Raises QuantityError naming dose or beverage.
    """
    dry = exact("dose", dose, least=LEAST_MASS, most=MOST_MASS)
    wet = exact("beverage", beverage, least=LEAST_MASS, most=MOST_MASS)
    return half_up(Fraction(wet) / Fraction(dry), places)


def printed_ratio(ratio: Decimal) -> str:
    """The ratio as the bar says it: Decimal('2.0') → '1 : 2.0'. Raises QuantityError."""
    return f"1 : {exact('ratio', ratio, least=Decimal(0), most=MOST_MASS / LEAST_MASS):f}"


def extraction_yield(
    dose: Decimal | int, beverage: Decimal | int, tds: Decimal | int, *, places: int = 2
) -> Decimal:
    """Extraction yield in % of the dose as weighed, rounded half-up once to `places` decimals.

    dose, beverage in g; tds in % by mass (0 to 100). Formula: EY = beverage x TDS / dose, by
    mass conservation (Batali et al. 2020, Sci Rep; references 6.1). 18 g, 36 g, 9.8 % → 19.60.
    Raises QuantityError naming dose, beverage or tds.
    """
    dry = exact("dose", dose, least=LEAST_MASS, most=MOST_MASS)
    wet = exact("beverage", beverage, least=LEAST_MASS, most=MOST_MASS)
    strength = exact("tds", tds, least=Decimal(0), most=Decimal(100))
    return half_up(Fraction(wet) * Fraction(strength) / Fraction(dry), places)


def half_up(value: Fraction, places: int) -> Decimal:
    """Round an exact fraction half away from zero to `places` decimals (0 to 12), once.

    Working on the fraction avoids the double rounding a 28-digit quotient would bring.
    Raises QuantityError naming places.
    """
    scale = 10 ** whole("places", places, least=0, most=12)
    units = (2 * abs(value.numerator) * scale + value.denominator) // (2 * value.denominator)
    return Decimal(-units if value < 0 else units).scaleb(-places)
