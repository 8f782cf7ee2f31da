"""A finding as it is shown: its change in words, its chart, its shots, what to do."""

import math
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from stations.causes.models import CauseFinding
from stations.causes.wording import WORDS, Words
from stations.metrology.causes import TESTS, Cause
from web import units
from web.charts import Curve, Drawing, Level, Panel, drawing, measure_of
from web.numbers import rounded
from web.printing import quantity

BESIDE = 2.0  # standard deviations: the shift of which the delay is told
LOGARITHMS = (Cause.GRIND, Cause.CHANNEL)


@dataclass(frozen=True, slots=True)
class Point:
    """One shot of a finding: its value, its score and the sum on the side that signals."""

    at: datetime
    value: str
    score: Decimal
    total: Decimal


@dataclass(frozen=True, slots=True)
class Shown:
    """Everything a page says of a finding beside its answers."""

    words: Words
    sentence: str
    statistic: str
    points: list[Point]
    drawing: Drawing


def shown(finding: CauseFinding) -> Shown:
    """From the row alone: no query."""
    words = WORDS[finding.cause]
    points = [
        Point(
            datetime.fromisoformat(at), _valued(finding, value), rounded(scored, 2),
            rounded(high if finding.upward else low, 2),
        )
        for at, value, scored, high, low in finding.points
    ]  # fmt: skip
    return Shown(words, sentence(finding), statistic(finding), points, _drawn(finding, points))


def sentence(finding: CauseFinding) -> str:
    """What changed, by how much, over how many shots."""
    words = WORDS[finding.cause]
    said = words.risen if finding.upward else words.fallen
    return f"{said} By {size(finding)} of late, over {finding.shots} shots in all."


def size(finding: CauseFinding) -> str:
    """The change in words, without its sign."""
    value = abs(float(finding.size))
    if finding.cause == Cause.METER.value:
        return f"{rounded(value, 2)} g for each gram of coffee"
    if finding.cause == Cause.PROBE.value:
        return quantity(rounded(value, 1), units.step_of(units.CELSIUS))
    share = math.expm1(value) if finding.upward else -math.expm1(-value)
    return f"{rounded(100 * share, 0)} %"


def statistic(finding: CauseFinding) -> str:
    """The test, where it stood, how rare false alarms are, and how quickly a change is found."""
    test = TESTS[Cause(finding.cause)]
    kind = "ranks of shots" if test.ranks else "shots against those before them"
    delay = round(test.delay(BESIDE))
    return (
        f"CUSUM of {kind}: {rounded(float(finding.total), 1)}, with a decision interval of"
        f" {rounded(float(finding.decision), 1)} standard deviations. While nothing changes and"
        f" shots don't depend on one another, a false alarm comes once in {finding.run_length:,}"
        f" shots on average; a lasting change of two standard deviations is found after {delay}."
    ).replace(",000", "\u202f000")


def _unit(finding: CauseFinding) -> str:
    return units.step_of(units.CELSIUS) if finding.cause == Cause.PROBE.value else ""


def _valued(finding: CauseFinding, value: float) -> str:
    return quantity(rounded(value, 2), _unit(finding))


def _drawn(finding: CauseFinding, points: list[Point]) -> Drawing:
    places = tuple(float(at) for at in range(1, len(points) + 1))
    totals = tuple(float(point.total) for point in points)
    measure = measure_of(_unit(finding))
    values = tuple(measure.at(float(point[1])) for point in finding.points)
    decision = float(finding.decision)
    last = f"{len(points)} shots, the sum at the last {points[-1].total}" if points else "no shots"
    return drawing(
        [
            Panel(
                f"each, {measure.unit}" if measure.unit else "each", "shot",
                (Curve("value", places, values),), counted=True,
            ),
            Panel(
                "Sum (CUSUM)", "shot", (Curve("sum", places, totals),), counted=True,
                levels=(Level(decision, "decision interval"),), from_zero=True,
            ),
        ],
        f"{finding.get_cause_display()}: {last}; the decision interval is {rounded(decision, 2)}.",
    )  # fmt: skip
