"""The shot as an initial value problem: fill the head space, wet the puck, pour.

State in grams: water metered, in the head space, in the puck, in the cup; solids in the fast and
slow pool, dissolved in the puck, in the cup. Every right-hand side moves grams from one place to
another, so the sums of water and of solids are kept to rounding by any Runge-Kutta step.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import scipy  # its parts load when first used: together they take seconds
from numpy.typing import NDArray

from recipes.brewing.pressure_plan import Schedule
from recipes.brewing.shot_model.parameters import EndsBy, Setup
from recipes.brewing.shot_model.puck import Bed, Pools

Floats = NDArray[np.float64]
State = list[float]
METERED, HEAD, HELD, CUP, FAST, SLOW, DISSOLVED, POURED = range(8)
LONGEST = 300.0  # s; a shot that has not ended by then is ended
TINY = 1e-9
RELATIVE, ABSOLUTE = 1e-8, 1e-9


Event = Callable[[float, Floats], float]


class Phase(IntEnum):
    """Where the water goes."""

    FILL = 0
    WET = 1
    POUR = 2


@dataclass(frozen=True)
class Stretch:
    """A solved piece of the shot: from `start` to `stop` [s], with its interpolant."""

    phase: Phase
    start: float
    stop: float
    at: Callable[[Floats], Floats]


class Engine:
    """One shot's equations. A state is a list of the 8 masses [g]."""

    def __init__(self, setup: Setup) -> None:
        puck, machine = setup.puck, setup.machine
        self.bed, self.pools = Bed(puck, machine), Pools(puck, setup.coffee, machine)
        self.schedule = Schedule(setup.plan)
        self.ending = setup.ending
        self.cold = machine.meter_density / 1000.0
        self._line_until = setup.plan.preinfusion_time
        self._headspace = machine.headspace * self.cold
        self._capacity = puck.capacity
        self._water = setup.taper_water * self.cold

    def asked(self, time: float, y: State) -> float:
        """Pressure asked for [bar]."""
        poured = min(y[METERED] / self._water, 1.0) if self._water else 0.0
        return self.schedule.asked(time, poured)

    def flow(self, phase: Phase, time: float, y: State) -> tuple[float, float]:
        """Pressure at the puck [bar] and flow from the source [g/s]."""
        source = self.bed.line if time < self._line_until else self.bed.pump
        asked = self.asked(time, y)
        if phase is Phase.FILL:
            return 0.0, source.free_flow if asked > 0 else 0.0
        extracted = self.pools.extracted(y[FAST], y[SLOW])
        return source.meets(self.bed.conductance(self._wetted(y), extracted), asked)

    def rate(self, phase: Phase, time: float, y: State) -> list[float]:
        """Right-hand side [g/s]."""
        _, flow = self.flow(phase, time, y)
        if phase is Phase.FILL:
            return [flow, flow, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
        strength = self.strength(y)
        fast, slow = self.pools.dissolving(y[FAST], y[SLOW], strength, self._wetted(y))
        if phase is Phase.WET:
            return [flow, 0.0, flow, 0.0, -fast, -slow, fast + slow, 0.0]
        leaving = strength * flow
        return [flow, 0.0, 0.0, flow, -fast, -slow, fast + slow - leaving, leaving]

    def strength(self, y: State) -> float:
        """Solids per water in the puck [g/g]."""
        return y[DISSOLVED] / max(y[HELD], TINY)

    def solve(self) -> list[Stretch]:
        """The whole shot in stretches; each ends where an equation changes."""
        fast, slow = self.pools.start
        y = [0.0, 0.0, 0.0, 0.0, fast, slow, 0.0, 0.0]
        time, phase, found = 0.0, Phase.FILL, list[Stretch]()
        while True:
            stretch, y, hit = self._stretch(phase, time, y)
            found.append(stretch)
            time = stretch.stop
            if hit == "end" or time >= LONGEST - TINY:
                return found
            if hit == "phase":
                phase = Phase(phase + 1)

    def _stretch(self, phase: Phase, start: float, y: State) -> tuple[Stretch, State, str]:
        until = next((one for one in self.schedule.breaks if one > start + TINY), LONGEST)
        if self.ending.by is EndsBy.TIME:
            until = min(until, self.ending.value)
        until = min(until, LONGEST)
        inside = until - TINY  # at the break itself the next piece of the plan holds

        def rate(time: float, state: Floats) -> list[float]:
            return self.rate(phase, min(time, inside), state.tolist())

        events = self._events(phase, y)
        solved = scipy.integrate.solve_ivp(
            rate, (start, until), y, rtol=RELATIVE, atol=ABSOLUTE, dense_output=True,
            events=list(events.values()),
        )  # fmt: skip
        stop = float(solved.t[-1])
        hit = next(
            (name for name, times in zip(events, solved.t_events, strict=True) if times.size), ""
        )
        if self.ending.by is EndsBy.TIME and stop >= self.ending.value - TINY:
            hit = "end"
        return Stretch(phase, start, stop, solved.sol), solved.y[:, -1].tolist(), hit

    def _events(self, phase: Phase, y: State) -> dict[str, Event]:
        """Named events still ahead; each ends the stretch."""
        found: dict[str, Event] = {}
        if self.ending.by is EndsBy.VOLUME:
            found["end"] = _reach(METERED, self.ending.value * self.cold)
        elif self.ending.by is EndsBy.MASS:
            mass = self.ending.value
            found["end"] = _terminal(lambda _, state: state[CUP] + state[POURED] - mass)
        if phase is Phase.FILL:
            found["phase"] = _reach(HEAD, self._headspace)
        elif phase is Phase.WET:
            found["phase"] = _reach(HELD, self._capacity)
        taper = self.schedule.taper_start
        if self._water and taper and y[METERED] < taper * self._water - TINY:
            found["taper"] = _reach(METERED, taper * self._water)
        return found

    def _wetted(self, y: State) -> float:
        return min(max(y[HELD] / self._capacity, 0.0), 1.0)


def _reach(place: int, grams: float) -> Event:
    return _terminal(lambda _, state: state[place] - grams)


def _terminal(event: Event) -> Event:
    event.terminal = True  # type: ignore[attr-defined]
    event.direction = 1.0  # type: ignore[attr-defined]
    return event
