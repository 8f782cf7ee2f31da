"""A formula as pages show it: beside another as rows of a table, and in a few words."""

from decimal import Decimal
from typing import TypedDict

from recipes.brewing.ratio import brew_ratio, printed_ratio
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS, Parameter
from stations.metrology.formula import BEVERAGE, DOSE, Stated
from web.printing import quantity


class Row(TypedDict):
    """One parameter; `differs` by value, so 18.0 beside 18.00 does not."""

    label: str
    unit: str
    old: Decimal | str | None
    old_below: Decimal | None
    old_above: Decimal | None
    new: Decimal | str | None
    new_below: Decimal | None
    new_above: Decimal | None
    differs: bool


def rows(old: Formula, new: Formula) -> list[Row]:
    """One row for each parameter either side states, in the registry's order."""
    return [
        _row(parameter, old.of(code), new.of(code))
        for code, parameter in PARAMETERS.items()
        if code in old or code in new
    ]


def shown(parameter: Parameter, stated: Stated) -> Decimal | str | None:
    """The target as a page prints it: a number, or the words of a choice."""
    if parameter.is_number:
        return stated.target
    return dict(parameter.choices).get(stated.text, stated.text) or None


def _row(parameter: Parameter, old: Stated, new: Stated) -> Row:
    return Row(
        label=parameter.label,
        unit=parameter.unit,
        old=shown(parameter, old),
        old_below=old.below,
        old_above=old.above,
        new=shown(parameter, new),
        new_below=new.below,
        new_above=new.above,
        differs=old != new,
    )


def text_row(label: str, old: str, new: str) -> Row:
    """A row for what is only text."""
    return Row(
        label=label,
        unit="",
        old=old or None,
        old_below=None,
        old_above=None,
        new=new or None,
        new_below=None,
        new_above=None,
        differs=old != new,
    )


# What a formula comes to in a few words: its brew ratio, and whose the water is.


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


def own_water_words(formula: Formula, of: str = "") -> str:
    """What a page says of a formula that leaves the water to the stations; else nothing.

    ``of`` says which stations, if not all.
    """
    if not formula.leaves_water:
        return ""
    beverage = quantity(formula.target(BEVERAGE), "g")
    return f"Each station{of} gets the water that yields {beverage} there."
