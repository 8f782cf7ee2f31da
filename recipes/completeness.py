"""What a formula must say before anybody is asked to approve it."""

from collections.abc import Mapping

from audit.errors import Problem
from recipes.formula import Entry
from recipes.parameters import PARAMETERS
from recipes.yielding import leaves_water

ALWAYS = ("dose_mass", "beverage_mass", "brew_temperature", "ends_by")
ENDING = {"volume": "water_volume", "mass": "beverage_mass", "time": "shot_time"}
# The first needs the second: half of a pair tells a machine nothing.
PAIRS = (
    ("taper_start", "water_volume"),
    ("taper_start", "taper_pressure"),
    ("taper_pressure", "taper_start"),
    ("preinfusion_pressure", "preinfusion_time"),
)


def gaps(formula: Mapping[str, Entry]) -> list[Problem]:
    """One problem for each parameter that is missing, saying why it is needed.

    Water volume isn't, where the shot ends by it and dose and beverage mass are stated: each
    station then gets the water that yields the beverage there.
    """
    found = {code: "every recipe states it" for code in ALWAYS if code not in formula}
    ends_by = formula.get("ends_by", Entry()).text
    ending = ENDING.get(ends_by)
    if ending and ending not in formula:
        found.setdefault(ending, f"the shot ends by {_label('ends_by', ends_by)}")
    for has, needs in PAIRS:
        if has in formula and needs not in formula:
            found.setdefault(needs, f"{PARAMETERS[has].label.lower()} is given")
    if leaves_water(formula):
        found.pop("water_volume", None)
    return [
        Problem(code, None, f"{PARAMETERS[code].label.lower()}, because {why}")
        for code, why in found.items()
    ]


def _label(code: str, choice: str) -> str:
    return dict(PARAMETERS[code].choices).get(choice, choice)
