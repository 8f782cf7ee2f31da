"""What the beverage mass of a station's own water is uncertain by, line by line."""

import math
from dataclasses import dataclass
from decimal import Decimal

from recipes.brewing.balance import COLD_WATER, Retention, forecast_beverage
from recipes.brewing.balances import retention_at
from recipes.brewing.errors import QuantityError
from recipes.formula.control_settings import Values, formula_set
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS
from recipes.retention.learning import Like, learn
from stations.equipment.models import Station
from stations.equipment.traits import traits_at
from stations.machine_types.models import Ability
from stations.metrology.budget import VolumeBudget
from stations.metrology.formula import BASKET, BEVERAGE, DOSE, TAPER, WATER, Stated
from stations.slots.models import Placement
from web.numbers import rounded

GRAMS = COLD_WATER / 1000.0  # per mL at the meter


@dataclass(frozen=True, slots=True)
class CupLine:
    """One contribution: standard uncertainty [g] and share [%]; a range in words has neither."""

    name: str
    basis: str
    uncertainty: Decimal | None
    share: Decimal | None


@dataclass(frozen=True, slots=True)
class CupBudget:
    """The next cup [g] with its 95 % interval; ``holds`` None without a tolerance on both sides."""

    lines: list[CupLine]
    mass: Decimal
    low: Decimal
    high: Decimal
    learnt: bool
    used: int
    holds: bool | None


def cup_budget(station: Station, formula: Formula, water: VolumeBudget) -> CupBudget | None:
    """The beverage that this water yields here; None where the coffee would keep all of it."""
    asked, cup = formula.target(DOSE) or Decimal(0), formula[BEVERAGE]
    like, dose = Like.of(asked, formula.of(BASKET).text), float(asked)
    retention = retention_at(learn([station.pk], [station.pulses_per_millilitre], like=like), 0)
    try:
        next_cup = forecast_beverage(
            retention, dose=dose, water=water.delivered, water_u=water.combined
        )
    except QuantityError:
        return None
    mass, low, high = (rounded(each, 1) for each in (next_cup.mass, next_cup.low, next_cup.high))
    lines = _lines(retention, dose, water)
    return CupBudget(
        lines, mass, low, high, retention.learnt, retention.used, _holds(cup, low, high)
    )


def _lines(retention: Retention, dose: float, water: VolumeBudget) -> list[CupLine]:
    meter = [(line.name, line.basis, GRAMS * line.standard_uncertainty) for line in water.lines]
    if not retention.learnt:
        below, above = (
            (retention.high - retention.ratio) * dose,
            (retention.ratio - retention.low) * dose,
        )
        words = f"common practice, {below:.1f} g less to {above:.1f} g more, added as it is"
        known = [CupLine(name, basis, rounded(u, 3), None) for name, basis, u in meter]
        return [*known, CupLine("coffee", words, None, None)]
    single = dose * retention.spread * math.sqrt(1 + 1 / retention.used)
    basis = f"{retention.spread:.3f} g/g from shot to shot, {retention.used} shots"
    parts = [*meter, ("coffee", basis, single)]
    whole = sum(u * u for _, _, u in parts)
    return [
        CupLine(name, basis, rounded(u, 3), rounded(100 * u * u / whole, 0))
        for name, basis, u in parts
    ]


def _holds(cup: Stated, low: Decimal, high: Decimal) -> bool | None:
    if cup.target is None or cup.below is None or cup.above is None:
        return None
    least, most = cup.target - cup.below, cup.target + cup.above
    return bool(least <= low and high <= most)


# What a slot is set to beside what its recipe asks for: every setting, its step, what is left.

THOUSANDTH = Decimal("0.001")


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


def settings_of(asked: Formula, placement: Placement, station: Station) -> list[SetTo]:
    """Each number of the formula that the machine is set to, in the registry's order."""
    steps = dict(
        Ability.objects.filter(machine_type=station.machine.machine_type_id).values_list(
            "parameter", "resolution"
        )
    )
    values = placement.settings.values
    brewed = formula_set(values, traits_at(station))
    return [
        SetTo(
            code, parameter.label, target, parameter.unit, Decimal(values[code]["value"]),
            parameter.machine_unit, steps.get(code), _off(brewed.target(code), target),
        )
        for code, parameter in PARAMETERS.items()
        if parameter.is_number and code in values and (target := asked.target(code)) is not None
    ]  # fmt: skip


def _off(brewed: Decimal | None, target: Decimal) -> Decimal | None:
    """What rounding leaves, in the parameter's unit; None where the station can't tell."""
    if brewed is None:
        return None
    off = brewed - target
    return rounded(float(off), 3) if off != off.quantize(THOUSANDTH) else off


def taper_of(placement: Placement) -> Taper | None:
    """Where the taper begins; None for settings without one."""
    values: Values = placement.settings.values
    if TAPER not in values or WATER not in values:
        return None
    begins, whole = (Decimal(values[code]["value"]) for code in (TAPER, WATER))
    return Taper(begins, whole - begins, whole)
