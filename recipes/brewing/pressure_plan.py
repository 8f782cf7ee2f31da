"""The pressure a recipe asks for over a shot, and whether that is an ordinary thing to ask.

By time: pre-infusion, then the rise, its first half to the intermediate pressure and its second to
the brewing pressure (straight through where no intermediate is named), then brewing. By water: from
`taper_start` percent of it on, straight down to the taper's pressure at the last drop. That the
rise is shared in halves is our reading: a recipe names no time for the intermediate pressure.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from enum import StrEnum

from recipes.brewing.errors import QuantityError, real

MOST_BAR = 15.0  # gauge; what the pump of a brewing group is relieved at, common practice

STATED = ("brew_pressure", "preinfusion_time", "preinfusion_pressure", "rise_time")
MOST = {
    "brew_pressure": MOST_BAR, "preinfusion_time": 120.0, "preinfusion_pressure": MOST_BAR,
    "rise_time": 120.0, "intermediate_pressure": MOST_BAR, "taper_start": 100.0,
    "taper_pressure": MOST_BAR,
}  # fmt: skip


class Stage(StrEnum):
    """A stretch of the plan."""

    PREINFUSION = "pre-infusion"
    RISE = "rise"
    SECOND_RISE = "rise to brewing"
    BREW = "brewing"
    TAPER = "taper"


@dataclass(frozen=True, slots=True)
class PressurePlan:
    """A pressure plan: times in s, pressures in bar (gauge), `taper_start` in % of the water.

    `intermediate_pressure`, `taper_start` and `taper_pressure` may be None: not asked for. Raises
    QuantityError naming the first field that is out of range, or taper_pressure or taper_start
    where one is given without the other.
    """

    brew_pressure: float
    preinfusion_time: float = 0.0
    preinfusion_pressure: float = 0.0
    rise_time: float = 0.0
    intermediate_pressure: float | None = None
    taper_start: float | None = None
    taper_pressure: float | None = None

    def __post_init__(self) -> None:
        for field, most in MOST.items():
            value = getattr(self, field)
            if value is not None or field in STATED:
                # Kept as a float, whatever number it came as: plans are computed with.
                object.__setattr__(self, field, real(field, value, least=0.0, most=most))
        if (self.taper_start is None) is not (self.taper_pressure is None):
            lacking = "taper_start" if self.taper_start is None else "taper_pressure"
            raise QuantityError(lacking, None, "a value, as the other half of the taper has one")


@dataclass(frozen=True, slots=True)
class Piece:
    """A straight piece of the plan: from `start` [s] to `stop` [s, None: to the end] it goes from
    `at_start` to `at_stop` [bar]. A taper's start is None: it begins by water."""

    stage: Stage
    start: float | None
    stop: float | None
    at_start: float
    at_stop: float


def pieces(plan: PressurePlan) -> list[Piece]:
    """The plan as straight pieces in order; stages without a length are left out."""
    rise_ends = plan.preinfusion_time + plan.rise_time
    half = plan.preinfusion_time + plan.rise_time / 2
    middle, pre, brew = plan.intermediate_pressure, plan.preinfusion_pressure, plan.brew_pressure
    found = [Piece(Stage.PREINFUSION, 0.0, plan.preinfusion_time, pre, pre)]
    if middle is None:
        found.append(Piece(Stage.RISE, plan.preinfusion_time, rise_ends, pre, brew))
    else:
        found.append(Piece(Stage.RISE, plan.preinfusion_time, half, pre, middle))
        found.append(Piece(Stage.SECOND_RISE, half, rise_ends, middle, brew))
    found = [one for one in found if one.start != one.stop]
    found.append(Piece(Stage.BREW, rise_ends, None, brew, brew))
    if plan.taper_pressure is not None and plan.taper_start != 100.0:
        found.append(Piece(Stage.TAPER, None, None, brew, plan.taper_pressure))
    return found


class Schedule:
    """A plan made ready to be asked many times."""

    def __init__(self, plan: PressurePlan) -> None:
        timed = [one for one in pieces(plan) if one.start is not None and one.stop is not None]
        self.breaks: list[float] = [one.stop for one in timed if one.stop is not None]
        self._pieces = timed
        self._brew = plan.brew_pressure
        tapers = plan.taper_pressure is not None and plan.taper_start != 100.0
        self.taper_start = (plan.taper_start or 0.0) / 100.0 if tapers else None
        self._fall = (plan.taper_pressure or 0.0) - plan.brew_pressure

    def asked(self, time: float, poured: float) -> float:
        """Pressure [bar] at `time` [s] when `poured` (0 to 1) of the water has passed."""
        by_time = self._brew
        at = bisect_right(self.breaks, time)
        if at < len(self.breaks):
            piece, stop = self._pieces[at], self.breaks[at]
            start = self.breaks[at - 1] if at else 0.0
            along = (time - start) / (stop - start)
            by_time = piece.at_start + along * (piece.at_stop - piece.at_start)
        if self.taper_start is None or poured <= self.taper_start:
            return by_time
        along = min((poured - self.taper_start) / (1.0 - self.taper_start), 1.0)
        return min(by_time, self._brew + along * self._fall)


def pressure(plan: PressurePlan, time: float, poured: float = 0.0) -> float:
    """Pressure asked for [bar] at `time` [s] when `poured` (0 to 1) of the water has passed.

    Where taper and rise meet, the lower of both counts. Raises QuantityError naming time or poured.
    """
    at = real("time", time, least=0.0)
    return Schedule(plan).asked(at, real("poured", poured, least=0.0, most=1.0))
