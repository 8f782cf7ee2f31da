"""Control settings as slots keep them, to and from what a formula states."""

from collections.abc import Mapping
from decimal import Decimal

from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS, TRANSLATION_RULES
from stations.metrology.abilities import StationTraits
from stations.metrology.formula import IN_CUP, Stated
from stations.metrology.rules import stated_by
from stations.metrology.translation import Setting

Values = dict[str, dict[str, str]]
"""By parameter code a plain decimal or a word as `value`, and its UCUM code as `unit`."""


def as_stored(settings: Mapping[str, Setting]) -> Values:
    """What a translation set, as it is kept."""
    return {code: _stored(code, setting) for code, setting in settings.items()}


def _stored(code: str, setting: Setting) -> dict[str, str]:
    value = setting.value
    text = format(value, "f") if isinstance(value, Decimal) else value
    return {"value": text, "unit": PARAMETERS[code].machine_unit}


def formula_set(values: Mapping[str, Mapping[str, str]], traits: StationTraits) -> Formula:
    """What a station that is set so brews: the way back, in each parameter's own unit.

    Without what the registry no longer knows and what the station's calibration can't tell.
    """
    settings = {code: each["value"] for code, each in values.items()}
    return Formula(stated_by(settings, TRANSLATION_RULES, traits))


def cup_of(formula: Formula) -> Values:
    """What a check shot is held against: target and tolerances of what is weighed and timed.

    A machine that ends by one of them has a setting of it as well.
    """
    return {code: _in_cup(code, formula[code]) for code in IN_CUP if formula.target(code)}


def _in_cup(code: str, stated: Stated) -> dict[str, str]:
    kept = {name: format(n, "f") for name, n in stated.numbers.items() if n is not None}
    return {**kept, "unit": PARAMETERS[code].unit}
