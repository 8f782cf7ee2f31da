"""A station's check shots under one content as control charts, capability and comparison."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from people.web.drawing import Curve, Drawing, Level, Panel, drawing
from stations.metrology import charts
from stations.metrology.capability import Capability, capability
from stations.metrology.charts import Baseline, freeze_baseline
from stations.metrology.equivalence import Equivalence, equivalence
from stations.metrology.errors import BadValueError
from stations.metrology.run_rules import (
    MEANING,
    NELSON,
    WESTERN_ELECTRIC,
    RunRule,
    find_signals,
    standardised,
)
from stations.models import ChartBaseline, CheckShot, Station
from stations.rounded import rounded
from stations.shots import BOUNDS, LABELS, cup_of

SHOWN = 200  # the newest shots that are drawn
FIRST = 20  # shots a baseline is made of while none is frozen; common practice, no source
ALLOWANCE, DECISION = 0.5, 5.0  # of a CUSUM, in standard deviations; common practice
RULES: dict[str, tuple[RunRule, ...]] = {
    "western": WESTERN_ELECTRIC,
    "nelson": NELSON,
    "limits": (RunRule.N1,),
}
CHARTED = ("beverage_mass", "shot_time", "dose_mass", "strength")


@dataclass(frozen=True, slots=True)
class Line:
    """One shot of the table, with what signals at it."""

    shot: CheckShot
    value: Decimal
    signals: str


@dataclass(frozen=True, slots=True)
class Charts:
    """Everything the page says about one value."""

    baseline: Baseline
    frozen: ChartBaseline | None
    drawing: Drawing
    lines: list[Line]
    signalling: int


def shots_of(station: Station, digest: str, code: str) -> list[CheckShot]:
    """The newest counted shots with that value, oldest first."""
    rows = CheckShot.objects.counted().of_content(digest).filter(slot__station=station)
    rows = rows.exclude(**{code: None}).select_related("placement__settings", "by")
    return list(reversed(rows.order_by("-id")[:SHOWN]))


def contents_of(station: Station) -> dict[str, str]:
    """Digest and title of every signed content that was brewed there, the newest first."""
    rows = CheckShot.objects.filter(slot__station=station).exclude(
        placement__settings__content_digest=""
    )
    pairs = rows.order_by("-id").values_list(
        "placement__settings__content_digest", "placement__settings__title"
    )
    return dict(reversed(list(pairs[:SHOWN])))


def frozen_baseline(station: Station, digest: str, code: str) -> ChartBaseline | None:
    """The newest one, which counts."""
    rows = ChartBaseline.objects.filter(station=station, content_digest=digest, code=code)
    return rows.select_related("by").first()


def baseline_of(frozen: ChartBaseline | None, values: Sequence[Decimal]) -> Baseline:
    """The frozen one, or a provisional one of the first shots. Raises BadValueError."""
    if frozen is None:
        return freeze_baseline(values[:FIRST])
    sigma = float(frozen.spread)
    return Baseline(float(frozen.centre), sigma, frozen.shots, sigma * charts.D2_OF_TWO)


def charts_of(station: Station, digest: str, code: str, rules: Sequence[RunRule]) -> Charts | None:
    """Draw and judge the shots; None where there are too few, or none that differ."""
    shots = shots_of(station, digest, code)
    values = [getattr(shot, code) for shot in shots]
    frozen = frozen_baseline(station, digest, code)
    try:
        baseline = baseline_of(frozen, values)
        told = _told(values, baseline, rules)
    except BadValueError:
        return None
    lines = [
        Line(shot, value, ", ".join(told.get(at, [])))
        for at, (shot, value) in enumerate(zip(shots, values, strict=True), 1)
    ]
    picture = drawing(_panels(values, baseline, code), _words(values, told, code))
    return Charts(baseline, frozen, picture, lines[::-1], len(told))


def _told(
    values: Sequence[Decimal], baseline: Baseline, rules: Sequence[RunRule]
) -> dict[int, list[str]]:
    """What signals at which shot, counted from 1."""
    found: dict[int, list[str]] = {}
    for one in find_signals(standardised(np.array(values, dtype=float), baseline), rules):
        found.setdefault(one.position, []).append(f"{one.rule}: {MEANING[one.rule]}")
    for at in charts.ewma_chart(values, baseline).signals:
        found.setdefault(at, []).append("EWMA beyond its limit")
    for at in cusum(values, baseline).signals:
        found.setdefault(at, []).append("CUSUM beyond its interval")
    return found


def cusum(values: Sequence[Decimal], baseline: Baseline) -> charts.Cusum:
    """The tabular CUSUM about the baseline's centre."""
    k, h = ALLOWANCE * baseline.sigma, DECISION * baseline.sigma
    return charts.cusum_chart(values, target=baseline.centre, allowance=k, decision=h)


def _panels(values: Sequence[Decimal], baseline: Baseline, code: str) -> list[Panel]:
    unit = BOUNDS[code].unit
    places = tuple(float(at) for at in range(1, len(values) + 1))
    panels = [
        _panel(f"each / {unit}", charts.individuals_chart(values, baseline), places),
        _panel(f"EWMA / {unit}", charts.ewma_chart(values, baseline), places),
    ]
    if len(values) > 1:
        ranges = charts.moving_range_chart(values, baseline)
        panels.insert(1, _panel(f"range / {unit}", ranges, places[1:]))
    sums = cusum(values, baseline)
    high, low = (tuple(float(v) for v in side) for side in (sums.high, sums.low))
    curves = (Curve("above", places, high), Curve("below", places, low))
    limit = (Level(sums.decision, "interval"),)
    panels.append(Panel(f"CUSUM / {unit}", "shot", curves, limit, counted=True, height=110))
    return panels


def _panel(title: str, chart: charts.Chart, places: tuple[float, ...]) -> Panel:
    heights = tuple(float(value) for value in chart.plotted)
    beyond = tuple((places[at - 1], heights[at - 1]) for at in chart.signals)
    levels = (
        Level(float(chart.upper[-1]), "upper limit"),
        Level(chart.centre, "centre"),
        Level(float(chart.lower[-1]), "lower limit"),
    )
    return Panel(title, "shot", (Curve("shots", places, heights, dots=True),), levels, beyond,
                 counted=True, height=110)  # fmt: skip


def _words(values: Sequence[Decimal], told: Mapping[int, object], code: str) -> str:
    signals = f"signals at shots {', '.join(map(str, sorted(told)))}" if told else "no signal"
    return (
        f"{LABELS[code]} of {len(values)} shots, from {min(values)} to {max(values)} "
        f"{BOUNDS[code].unit}: each, moving range, EWMA and CUSUM; {signals}."
    )


def limits_of(shots: Sequence[CheckShot], code: str) -> tuple[Decimal | None, Decimal | None]:
    """The recipe's limits for the value, as the newest shot was held against."""
    held = cup_of(shots[-1].placement).get(code, {}) if shots else {}
    target, below, above = (held.get(name) for name in ("target", "below", "above"))
    lower = Decimal(target) - Decimal(below) if target and below else None
    return lower, Decimal(target) + Decimal(above) if target and above else None


def capability_of(shots: Sequence[CheckShot], code: str) -> Capability | None:
    """Cp and Cpk against the recipe's tolerance; None without one, or without spread."""
    lower, upper = limits_of(shots, code)
    if lower is None and upper is None:
        return None
    try:
        return capability([getattr(shot, code) for shot in shots], lower=lower, upper=upper)
    except BadValueError:
        return None


@dataclass(frozen=True, slots=True)
class Sameness:
    """Whether two stations pour the same, against a margin in the value's unit."""

    told: Equivalence
    low: Decimal
    high: Decimal
    difference: Decimal
    p: Decimal
    drawing: Drawing


def sameness(
    one: Sequence[CheckShot], other: Sequence[CheckShot], code: str, margin: Decimal
) -> Sameness | None:
    """Two one-sided Welch tests; None while either has fewer than two shots that differ."""
    first, second = ([getattr(shot, code) for shot in side] for side in (one, other))
    try:
        told = equivalence(first, second, low_margin=-margin, high_margin=margin)
    except BadValueError:
        return None
    low, high = told.interval
    text = (
        f"Difference {rounded(told.difference, 2)} {BOUNDS[code].unit}, 90 % interval from "
        f"{rounded(low, 2)} to {rounded(high, 2)}, margin {margin:f} either way: {told.conclusion}."
    )
    edge = float(margin)
    bar = Panel(
        "", f"difference / {BOUNDS[code].unit}",
        (Curve("interval", (low, told.difference, high), (0.0, 0.0, 0.0), dots=True),),
        (Level(-edge, "margin", upright=True), Level(edge, "margin", upright=True)),
        named=False, height=60,
    )  # fmt: skip
    ends = (rounded(low, 2), rounded(high, 2), rounded(told.difference, 2))
    return Sameness(told, *ends, rounded(told.p_value, 4), drawing([bar], text))
