"""What machines can be set to, as told by whoever defines parameters.

``stations`` may not import ``recipes``, where the registry of parameters lives; at start-up that
registry enters here the part of it the equipment needs.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from stations.machine_types.models import Ability, MachineType
from stations.metrology.formula import ENDS_BY
from web.numbers import Bounds
from web.units import step_of


@dataclass(frozen=True)
class Setting:
    """One thing a machine sets, in the unit its own display uses."""

    code: str
    label: str
    unit: str  # UCUM; {pulse} where the machine counts the flow meter
    minimum: Decimal
    maximum: Decimal


SETTINGS: dict[str, Setting] = {}
ENDINGS: dict[str, str] = {}


def enter(settings: Iterable[Setting], endings: dict[str, str]) -> None:
    """Fill the catalogue; called once, when the program starts."""
    SETTINGS.update({setting.code: setting for setting in settings})
    ENDINGS.update(endings)


# Settings as people read them: label, value and unit, in the catalogue's order.

ENDS_BY_LABEL = "Shot ends by"


@dataclass(frozen=True, slots=True)
class Printed:
    """One setting, ready to be shown; ``unit`` is the UCUM code, empty for a word."""

    code: str
    label: str
    value: str
    unit: str


def label_of(code: str) -> str:
    """The label of a parameter; its code where the catalogue no longer has it."""
    if code == ENDS_BY:
        return ENDS_BY_LABEL
    setting = SETTINGS.get(code)
    return setting.label if setting else code.replace("_", " ").capitalize()


def unit_of(code: str) -> str:
    """The UCUM code of a parameter's unit on the machine; empty for a word."""
    setting = SETTINGS.get(code)
    return setting.unit if setting else ""


def word_of(code: str, value: str) -> str:
    """A value as it is read aloud: an ending by its words, a number as it is."""
    return ENDINGS.get(value, value) if code == ENDS_BY else value


def in_order(codes: Mapping[str, Any]) -> list[str]:
    """Codes in the order of the catalogue, unknown ones last."""
    order = {code: place for place, code in enumerate([*SETTINGS, ENDS_BY])}
    return sorted(codes, key=lambda code: (order.get(code, len(order)), code))


def abilities_in_order(machine_type: MachineType) -> list[Ability]:
    """What a set can set, in the order of the catalogue."""
    able = {ability.parameter: ability for ability in machine_type.abilities.all()}
    return [able[code] for code in in_order(able)]


def printed(values: Mapping[str, Mapping[str, str]]) -> list[Printed]:
    """The values of control settings, ready to be shown."""
    return [
        Printed(code, label_of(code), word_of(code, given["value"]), given.get("unit", ""))
        for code in in_order(values)
        for given in [values[code]]
    ]


def by_code(values: Mapping[str, Mapping[str, str]]) -> dict[str, Printed]:
    """The same by parameter, to be held against others."""
    return {each.code: each for each in printed(values)}


def bounds_of(setting: Setting) -> Bounds:
    """What a machine may be able to set at most, for entering abilities."""
    return Bounds(setting.minimum, setting.maximum, unit=setting.unit)


def step_bounds_of(setting: Setting) -> Bounds:
    """What a step may be: never zero, and no wider than the whole range."""
    widest = setting.maximum - setting.minimum
    return Bounds(Decimal("0.000001"), widest, unit=step_of(setting.unit))
