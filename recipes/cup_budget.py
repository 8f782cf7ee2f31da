"""What the beverage mass of a station's own water is uncertain by, line by line."""

import math
from dataclasses import dataclass
from decimal import Decimal

from recipes.brewing.balance import COLD_WATER, Retention, forecast_beverage
from recipes.brewing.balances import retention_at
from recipes.brewing.errors import QuantityError
from recipes.models import FormulaValue, Version
from recipes.retention import learn
from recipes.yielding import CUP, DOSE
from stations.metrology.budget import VolumeBudget
from stations.models import Station
from stations.rounded import rounded

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


def cup_budget(station: Station, version: Version, water: VolumeBudget) -> CupBudget | None:
    """The beverage that this water yields here; None where the coffee would keep all of it."""
    stated = {each.code: each for each in version.formula.all()}
    dose, cup = float(stated[DOSE].target or 0), stated[CUP]
    found = retention_at(learn([station.pk], [station.pulses_per_millilitre]), 0)
    try:
        told = forecast_beverage(found, dose=dose, water=water.delivered, water_u=water.combined)
    except QuantityError:
        return None
    mass, low, high = (rounded(each, 1) for each in (told.mass, told.low, told.high))
    lines = _lines(found, dose, water)
    return CupBudget(lines, mass, low, high, found.learnt, found.used, _holds(cup, low, high))


def _lines(found: Retention, dose: float, water: VolumeBudget) -> list[CupLine]:
    meter = [(line.name, line.basis, GRAMS * line.standard_uncertainty) for line in water.lines]
    if not found.learnt:
        below, above = (found.high - found.ratio) * dose, (found.ratio - found.low) * dose
        words = f"common practice, {below:.1f} g less to {above:.1f} g more, added as it is"
        known = [CupLine(name, basis, rounded(u, 3), None) for name, basis, u in meter]
        return [*known, CupLine("coffee", words, None, None)]
    single = dose * found.spread * math.sqrt(1 + 1 / found.used)
    basis = f"{found.spread:.3f} g/g from shot to shot, {found.used} shots"
    parts = [*meter, ("coffee", basis, single)]
    whole = sum(u * u for _, _, u in parts)
    return [
        CupLine(name, basis, rounded(u, 3), rounded(100 * u * u / whole, 0))
        for name, basis, u in parts
    ]


def _holds(cup: FormulaValue, low: Decimal, high: Decimal) -> bool | None:
    if cup.target is None or cup.below is None or cup.above is None:
        return None
    least, most = cup.target - cup.below, cup.target + cup.above
    return bool(least <= low and high <= most)
