"""What recipes' templates print that others don't need."""

from collections.abc import Iterable

from django import template

from recipes.formula.display import Row, shown
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS

register = template.Library()


@register.filter
def parameter_label(code: str) -> str:
    """The parameter's label in running text; the code itself once the registry dropped it."""
    known = PARAMETERS.get(code)
    return known.label.lower() if known else code


@register.filter
def some_differ(rows: Iterable[Row]) -> bool:
    """Whether anything differs at all."""
    return any(row["differs"] for row in rows)


@register.filter
def concat(text: str, more: object) -> str:
    """Text and number in one argument of an include."""
    return f"{text}{more}"


@register.filter
def entry(formula: Formula, code: str) -> dict[str, object]:
    """What a formula says about a parameter, as {% quantity %} prints it."""
    found = formula.of(code)
    return {"shown": shown(PARAMETERS[code], found), "below": found.below, "above": found.above}
