"""What a formula comes to in a few words: its brew ratio, and whose the water is."""

from decimal import Decimal

from recipes.brewing.ratio import brew_ratio, printed_ratio
from recipes.formula.formula import Formula
from stations.metrology.formula import BEVERAGE, DOSE
from web.printing import quantity

RATIO_PLACES = 2


def ratio_of(formula: Formula) -> Decimal | None:
    """Beverage mass over dose, half-up to two places; None while either is missing."""
    dose = formula.target(DOSE)
    beverage = formula.target(BEVERAGE)
    if dose is None or beverage is None:
        return None
    return brew_ratio(dose, beverage, places=RATIO_PLACES)


def ratio_words(formula: Formula) -> str:
    """'1 : 2.00', or nothing while dose or beverage mass is missing."""
    ratio = ratio_of(formula)
    return "" if ratio is None else printed_ratio(ratio)


def own_water_words(formula: Formula) -> str:
    """What a page says of a formula that leaves the water to the stations; else nothing."""
    if not formula.leaves_water:
        return ""
    beverage = quantity(formula.target(BEVERAGE), "g")
    return f"Each station gets the water that yields {beverage} there."
