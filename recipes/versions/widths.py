"""Tolerances to begin from: as the house states them, and as far as a station's shots scatter."""

import math
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from recipes.brewing.balance import FEWEST_SHOTS
from recipes.formula.forms import Width
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS
from recipes.versions.models import FormulaValue, Version
from stations.equipment.models import Station
from stations.metrology.formula import IN_CUP, Stated
from stations.shots.models import CheckShot
from web.printing import SPACE, quantity

NEWEST = 200  # shots of a station
COVERAGE = 2  # standard deviations: some 95 % of its shots


def house_widths() -> dict[str, Width]:
    """By parameter the tolerance that the house's approved versions state most, else the usual one.

    One query. Of two stated equally often the one in the newest version counts.
    """
    approved = FormulaValue.objects.filter(version__state=Version.State.APPROVED)
    stated: dict[str, Counter[Width]] = defaultdict(Counter)
    rows = approved.exclude(below=None, above=None).order_by("-version_id")
    for code, below, above in rows.values_list("code", "below", "above"):
        stated[code][below, above] += 1
    usual: dict[str, Width] = {
        code: (each.usual_width, each.usual_width)
        for code, each in PARAMETERS.items()
        if each.usual_width
    }
    common = {code: counts.most_common(1)[0][0] for code, counts in stated.items()}
    return usual | {code: width for code, width in common.items() if code in PARAMETERS}


@dataclass(frozen=True, slots=True)
class Spread:
    """How shots of a station scatter within a placement: standard deviation, of how many shots."""

    deviation: float
    shots: int


def spreads_of(station: Station) -> dict[str, Spread]:
    """By what is weighed and timed, within each placement (pooled): one query.

    Nothing below five shots.
    """
    rows = CheckShot.objects.counted().filter(slot__station=station).order_by("-id")
    by_placement = defaultdict(list)
    for placement, *values in rows.values_list("placement", *IN_CUP)[:NEWEST]:
        by_placement[placement].append([float(value) for value in values])
    groups = [each for each in by_placement.values() if len(each) > 1]
    free = sum(len(each) - 1 for each in groups)
    if free < FEWEST_SHOTS - 1:
        return {}
    shots = sum(map(len, groups))
    return {
        code: Spread(math.sqrt(sum(_squares(each, at) for each in groups) / free), shots)
        for at, code in enumerate(IN_CUP)
    }


def _squares(shots: list[list[float]], at: int) -> float:
    values = [shot[at] for shot in shots]
    mean = sum(values) / len(values)
    return sum((value - mean) ** 2 for value in values)


def with_widths(
    formula: Formula, house: Mapping[str, Width], spreads: Mapping[str, Spread]
) -> tuple[Formula, list[str]]:
    """The formula with a tolerance for each target, and what is wider than the house's, and why.

    Never further than the parameter goes at all.
    """
    wider, lines = [], {}
    for code, stated in formula.items():
        if stated.target is None or code not in house:
            continue
        (below, above), own = house[code], spreads.get(code)
        if own is not None:
            reach = _up(COVERAGE * own.deviation, PARAMETERS[code].resolution)
            if below is not None and above is not None and reach > min(below, above):
                wider.append(_why(code, reach, own))
                below, above = max(below, reach), max(above, reach)
        lines[code] = _within(code, replace(stated, below=below, above=above))
    return formula | lines, wider


def _why(code: str, reach: Decimal, own: Spread) -> str:
    parameter = PARAMETERS[code]
    said = quantity(reach, parameter.unit).replace(SPACE, " ")
    return f"{parameter.label.lower()} ±{said}, as far as shots scatter there ({own.shots} of them)"


def _within(code: str, stated: Stated) -> Stated:
    parameter, target = PARAMETERS[code], stated.target
    assert target is not None
    return replace(
        stated,
        below=_at_most(stated.below, target - parameter.minimum),
        above=_at_most(stated.above, parameter.maximum - target),
    )


def _at_most(width: Decimal | None, room: Decimal) -> Decimal | None:
    return None if width is None else min(width, max(room, Decimal(0)))


def _up(value: float, step: Decimal) -> Decimal:
    """Rounded up to whole steps."""
    return step * math.ceil(value / float(step) - 1e-9)
