"""What may be wrong at a station, each by a measure that the others leave alone.

Each is one figure a shot, worked out from its figures and its trace, charted by
`stations.metrology.self_starting`. A false alarm comes once in `RUN_LENGTH` scored shots on
average for each cause, as long as nothing changes and shots don't depend on one another.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

import numpy as np

from stations.metrology.numbers import Floats
from stations.metrology.run_lengths import average_run_length, two_sided
from stations.metrology.self_starting import WINSOR, Sums

RUN_LENGTH = 100_000  # scored shots to a false alarm; our choice
# On one side, and on both: `run_lengths.decision_for` of it, and of twice as many on either side;
# worked out beforehand, for that takes a while (a test holds them together).
DECISIONS = {False: 9.557, True: 10.244}
WATER_DENSITY = 0.9982  # g/mL at 20 °C, what a meter counts is cold (IAPWS-95; references 1.4)
FULL = 0.8  # of the highest pressure: then the shot brews
LEAST_FLOW = 0.2  # mL/s; below, a quotient says nothing
FEWEST_POINTS = 6
WINDOW = 2.0  # s on either side of a drop
USUAL_DOSE = 18.0  # g


class Cause(StrEnum):
    """What a finding is of."""

    METER = "meter"
    PROBE = "probe"
    GRIND = "grind"
    CHANNEL = "channel"


@dataclass(frozen=True, slots=True)
class Signal:
    """A sum that passed its decision interval: which way, by how much, over how many shots.

    ``size`` is the change of the newest of these [the measure's unit].
    """

    upward: bool
    size: float
    total: float
    shots: int


@dataclass(frozen=True)
class Test:
    """How a cause is looked for.

    ``least`` is the change that matters to a cup, in the measure's unit; a smaller one is no
    finding, however sure it is. ``falls``: whether a fall is one too.
    """

    cause: Cause
    unit: str
    least: float
    falls: bool = True
    ranks: bool = False

    @property
    def decision(self) -> float:
        """The decision interval h [standard deviations] that gives the run length."""
        return DECISIONS[self.falls]

    def delay(self, shift: float) -> float:
        """Scored shots until a lasting shift [standard deviations] is found, on average."""
        there = average_run_length(self.decision, shift=shift, winsor=WINSOR)
        if not self.falls:
            return there
        other = average_run_length(self.decision, shift=-shift, winsor=WINSOR)
        return two_sided(there, other)

    def signal(self, sums: Sums, changes: Sequence[float]) -> Signal | None:
        """Return what the sums say; None while they say nothing, or nothing that matters.

        ``changes``: of the newest shots, how far each is from the level of the first ones.
        """
        if sums.high > self.decision:
            size = _recent(changes, sums.high_shots)
            if size >= self.least:
                return Signal(True, size, sums.high, sums.high_shots)
        if self.falls and sums.low > self.decision:
            size = _recent(changes, sums.low_shots)
            if -size >= self.least:
                return Signal(False, size, sums.low, sums.low_shots)
        return None


def _recent(changes: Sequence[float], shots: int) -> float:
    """The median of the newest that the sum rests on: a spilt cup among them moves it little."""
    some = changes[-shots:]
    return median(some) if some else 0.0


# What matters: our choices. 0.03 g/g is 1 % of 54 mL at 18 g; half a kelvin is what recipes
# usually allow a temperature; 8 % of resistance moves a shot of 28 s by about 2 s.
TESTS: Mapping[Cause, Test] = {
    Cause.METER: Test(Cause.METER, "g/g", 0.03),
    Cause.PROBE: Test(Cause.PROBE, "K", 0.5),
    Cause.GRIND: Test(Cause.GRIND, "", 0.08),
    Cause.CHANNEL: Test(Cause.CHANNEL, "", 0.05, falls=False, ranks=True),
}


@dataclass(frozen=True, slots=True)
class Curves:
    """A shot's trace: against ``t`` [s] the pressure [bar], flow [mL/s] and temperature [°C].

    Each is as long as ``t``, or empty where nobody measured it.
    """

    t: Floats
    pressure: Floats
    flow: Floats
    temperature: Floats

    @classmethod
    def of(cls, trace: Mapping[str, Sequence[float]]) -> Curves:
        """Of lists by their names; one that is missing is empty."""
        found = (np.asarray(trace.get(name, ()), dtype=float) for name in cls.__slots__)
        return cls(*found)


def kept_by_meter(water: float, beverage: float, dose: float) -> float | None:
    """Return what the meter says stayed behind, in g of water for each g of coffee.

    (density times V - m) / dose: what the puck holds, which hardly moves, and what the meter counts
    too much or too little, which does. None for a dose or volume that isn't above 0, as a dead
    meter has it.
    """
    if not (water > 0.0 and dose > 0.0 and math.isfinite(water)):
        return None
    return (WATER_DENSITY * water - beverage) / dose


def above_set(temperature: Floats, figure: float | None, aim: float) -> float | None:
    """Return how far the group was above what it was set to [K]: the median of the later half.

    Without a trace, by the machine's own figure; None without either.
    """
    later = temperature[temperature.size // 2 :]
    if later.size >= FEWEST_POINTS // 2:
        return float(np.median(later)) - aim
    return None if figure is None else figure - aim


def resistance(curves: Curves) -> float | None:
    """Return the logarithm of the wet puck's resistance, pressure over flow [ln(bar·s/mL)].

    The third quartile of what was brewed at full pressure (Darcy's law at one viscosity): a puck
    that opens after a quarter of it changes nothing of that. None where fewer than 6 points say so.
    """
    _, found = _quotients(curves)
    if found.size < FEWEST_POINTS:
        return None
    return float(np.quantile(found, 0.75))


def largest_drop(curves: Curves) -> float | None:
    """Return the largest sudden fall of ln resistance within the shot, from 2 s to the next 2 s.

    A puck that opens lets more through at once, at the same pressure; one that is leached does so
    slowly. Never below 0; None where too few points say so.
    """
    at, found = _quotients(curves)
    if found.size < FEWEST_POINTS:
        return None
    sums = np.concatenate(([0.0], np.cumsum(found)))
    places = np.arange(1, found.size)
    begin = np.searchsorted(at, at[places] - WINDOW)
    end = np.searchsorted(at, at[places] + WINDOW)
    before = (sums[places] - sums[begin]) / (places - begin).clip(1)
    after = (sums[end] - sums[places]) / (end - places).clip(1)
    whole = (begin < places) & (at[places] - at[0] >= WINDOW) & (at[-1] - at[places] >= WINDOW)
    drops = (before - after)[whole]
    return max(0.0, float(drops.max())) if drops.size else None


def _quotients(curves: Curves) -> tuple[Floats, Floats]:
    """The moments at full pressure at which water flowed, and ln resistance at each."""
    if not (curves.t.size == curves.pressure.size == curves.flow.size) or not curves.t.size:
        return np.empty(0), np.empty(0)
    brewing = curves.pressure >= FULL * max(1.0, float(curves.pressure.max()))
    there = brewing & (curves.flow >= LEAST_FLOW)
    return curves.t[there], np.log(curves.pressure[there] / curves.flow[there])


def grind_columns(dose: float, age: float | None) -> tuple[float, ...]:
    """What resistance is explained by: level, ln of the dose, and the lot's age [10 days]."""
    by_dose = math.log(dose / USUAL_DOSE)
    return (1.0, by_dose) if age is None else (1.0, by_dose, age / 10.0)
