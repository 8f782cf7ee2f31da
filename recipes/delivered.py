"""What a slot is set to beside what its recipe asks for: every setting, its step, what is left."""

from dataclasses import dataclass
from decimal import Decimal

from recipes.models import Version
from recipes.parameters import PARAMETERS
from recipes.yielding import WATER
from stations.metrology.abilities import TranslationRule
from stations.models import Ability, Placement, Station
from stations.rounded import rounded

Values = dict[str, dict[str, str]]


@dataclass(frozen=True, slots=True)
class SetTo:
    """One setting: asked for and off by in ``unit``, set to and step in ``machine_unit``."""

    code: str
    label: str
    asked: Decimal
    unit: str
    value: Decimal
    machine_unit: str
    step: Decimal | None
    off: Decimal | None


@dataclass(frozen=True, slots=True)
class Taper:
    """The pulse at which the taper begins, and how many are left to it of all."""

    begins: Decimal
    remain: Decimal
    of: Decimal


def settings_of(version: Version, held: Placement, station: Station) -> list[SetTo]:
    """Each number of the formula that the machine is set to, in the registry's order."""
    steps = dict(
        Ability.objects.filter(ability_set=station.machine.abilities_id).values_list(
            "parameter", "resolution"
        )
    )
    asked = {each.code: each.target for each in version.formula.all()}
    values: Values = held.settings.values
    return [
        SetTo(
            code, parameter.label, target, parameter.unit, Decimal(values[code]["value"]),
            parameter.machine_unit, steps.get(code), _off(code, target, values, station),
        )
        for code, parameter in PARAMETERS.items()
        if parameter.is_number and code in values and (target := asked.get(code)) is not None
    ]  # fmt: skip


def _off(code: str, target: Decimal, values: Values, station: Station) -> Decimal | None:
    """What rounding leaves, in the parameter's unit; None where the station can't tell."""
    value, rule = Decimal(values[code]["value"]), PARAMETERS[code].rule
    slope = station.pulses_per_millilitre
    if rule is TranslationRule.OFFSET:
        return value + (station.temperature_offset or Decimal(0)) - target
    if rule is TranslationRule.PULSES:
        return None if slope is None else rounded(float(value / slope - target), 3)
    if rule is TranslationRule.PULSE_OF_PERCENT:
        whole = values.get(WATER)
        return None if whole is None else rounded(float(_share(value, whole) - target), 3)
    return value - target


def _share(pulses: Decimal, whole: dict[str, str]) -> Decimal:
    return 100 * pulses / Decimal(whole["value"])


def taper_of(held: Placement) -> Taper | None:
    """Where the taper begins; None for settings without one."""
    values: Values = held.settings.values
    if "taper_start" not in values or WATER not in values:
        return None
    begins, whole = (Decimal(values[code]["value"]) for code in ("taper_start", WATER))
    return Taper(begins, whole - begins, whole)
