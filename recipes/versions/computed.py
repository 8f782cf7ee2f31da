"""What follows from a formula: shown while a draft is edited, never stored."""

from collections.abc import Mapping
from decimal import Decimal

from recipes.brewing.ratio import brew_ratio, printed_ratio
from recipes.formula.formula import Entry

RATIO_PLACES = 2


def ratio_of(formula: Mapping[str, Entry]) -> Decimal | None:
    """Beverage mass over dose, half-up to two places; None while either is missing."""
    dose = formula.get("dose_mass", Entry()).target
    beverage = formula.get("beverage_mass", Entry()).target
    if dose is None or beverage is None:
        return None
    return brew_ratio(dose, beverage, places=RATIO_PLACES)


def ratio_words(formula: Mapping[str, Entry]) -> str:
    """'1 : 2.00', or nothing while dose or beverage mass is missing."""
    ratio = ratio_of(formula)
    return "" if ratio is None else printed_ratio(ratio)
