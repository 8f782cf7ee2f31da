"""A shot as it stands and with a change, over time, on one chart; and the figures beside it."""

from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from recipes.brewing.shot_model.predict import DRAWN, Course
from recipes.brewing.shot_model.simulate import SimulatedShot
from web.charts import Band, Curve, Drawing, Panel, drawing, measure_of
from web.numbers import rounded
from web.printing import quantity

ROWS = 12  # of the table beside the chart
BEFORE, AFTER = "as it stands", "with the change"
UNITS = {"beverage": "g", "flow": "mL/s", "pressure": "bar", "strength": "%"}
NAMES = {"beverage": "yield", "flow": "flow", "pressure": "pressure", "strength": "strength"}
HEIGHTS = {"beverage": 170}
USUAL_HEIGHT = 90


@dataclass(frozen=True, slots=True)
class At:
    """One shot at one moment: g in the cup with its interval (None without a fit), mL/s, bar, %."""

    beverage: Decimal
    low: Decimal | None
    high: Decimal | None
    flow: Decimal
    pressure: Decimal
    strength: Decimal


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment [s] of both shots; None of one that has ended, or is not there at all.

    ``drawn`` is the changed one, the other where nothing is changed.
    """

    time: Decimal
    before: At | None
    after: At | None
    drawn: At | None


@dataclass(frozen=True, slots=True)
class Overlay:
    """The shots drawn over one another, and moment by moment; which of the two are there."""

    drawing: Drawing
    moments: list[Moment]
    has_before: bool
    has_after: bool


def course_of(shot: SimulatedShot) -> Course:
    """A shot poured at given parameters, without an interval."""
    trace = shot.trace
    values = {name: getattr(trace, name) for name in DRAWN}
    return Course(trace.time, values, np.zeros(trace.time.size))


def overlay(before: Course | None, after: Course | None) -> Overlay:
    """Draw them, one at least.

    ``before`` is None where no shot comes of what stands, ``after`` where nothing is changed.
    """
    shots = [(words, one) for words, one in ((BEFORE, before), (AFTER, after)) if one]
    panels = [_panel(name, shots) for name in DRAWN]
    longest = max(float(one.time[-1]) for _, one in shots)
    times = np.linspace(0.0, longest, ROWS)
    moments = [_moment(before, after, float(at)) for at in times]
    drawn = drawing(panels, _words(shots))
    return Overlay(drawn, moments, before is not None, after is not None)


def _moment(before: Course | None, after: Course | None, time: float) -> Moment:
    first = _at(before, time) if before else None
    other = _at(after, time) if after else None
    return Moment(rounded(time, 1), first, other, other if after else first)


def _panel(name: str, shots: list[tuple[str, Course]]) -> Panel:
    measure = measure_of(UNITS[name])
    curves, bands = [], []
    for at, (words, one) in enumerate(shots):
        times = tuple(one.time.tolist())
        values, margin = one.values[name], one.margin
        curves.append(Curve(words, times, tuple(measure.step(v) for v in values.tolist())))
        if name == "beverage" and margin.any():
            low, high = np.maximum(values - margin, 0.0), values + margin
            lows, highs = (tuple(measure.step(v) for v in side.tolist()) for side in (low, high))
            bands.append(Band(times, lows, highs, tone=at))
    title = f"{NAMES[name]} / {measure.unit}"
    height = HEIGHTS.get(name, USUAL_HEIGHT)
    return Panel(title, "time / s", tuple(curves), from_zero=True, height=height,
                 bands=tuple(bands))  # fmt: skip


def _at(course: Course, time: float) -> At | None:
    if time > course.time[-1] + 1e-9:
        return None
    told = {name: float(np.interp(time, course.time, course.values[name])) for name in DRAWN}
    margin = float(np.interp(time, course.time, course.margin))
    mass = told["beverage"]
    known = bool(course.margin.any())
    return At(
        rounded(mass, 1),
        rounded(max(mass - margin, 0.0), 1) if known else None,
        rounded(mass + margin, 1) if known else None,
        *(rounded(told[name], 1) for name in ("flow", "pressure", "strength")),
    )


def _words(shots: list[tuple[str, Course]]) -> str:
    parts = [f"{words}, {_end(one)}" for words, one in shots]
    band = (
        " The bands are 95 % intervals of the mean yield at each moment, by the fit alone: one that"
        " runs slower also ends later, so that the end is surer than the band."
        if any(one.margin.any() for _, one in shots)
        else ""
    )
    return f"Modelled shots over time: {'; '.join(parts)}.{band}"


def _end(one: Course) -> str:
    mass, time = (float(each[-1]) for each in (one.values["beverage"], one.time))
    return f"{quantity(rounded(mass, 1), 'g')} in {quantity(rounded(time, 1), 's')}"
