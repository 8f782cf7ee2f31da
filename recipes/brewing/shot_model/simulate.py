"""A shot, simulated: flow, pressure, mass and strength over time, and what is in the cup."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recipes.brewing.errors import real
from recipes.brewing.shot_model.engine import (
    CUP,
    DISSOLVED,
    FAST,
    HEAD,
    HELD,
    LONGEST,
    METERED,
    POURED,
    SLOW,
    TINY,
    Engine,
    Floats,
    Phase,
    Stretch,
)
from recipes.brewing.shot_model.parameters import Setup


@dataclass(frozen=True)
class Trace:
    """Samples over the shot: time [s], flow at the meter [mL/s], pressure at the puck [bar], water
    metered [mL], beverage and the solids of it in the cup [g], strength of the stream [% by mass,
    0 before it runs]."""

    time: Floats
    flow: Floats
    pressure: Floats
    water: Floats
    beverage: Floats
    solids: Floats
    strength: Floats


@dataclass(frozen=True)
class SimulatedShot:
    """The finished shot. Water and solids are balanced: see `water_error` and `solids_error` [g].

    time [s]; first_drop [s, None if none fell]; water [mL at the meter]; beverage [g]; tds [%];
    extraction [% of the dose]; retained [g] as the water balance has it: water_kept by puck and
    head space [g] less what dissolved into the cup [g]; ended is False if the shot was cut at the
    longest time simulated.
    """

    trace: Trace
    time: float
    first_drop: float | None
    water: float
    beverage: float
    tds: float
    extraction: float
    water_kept: float
    dissolved: float
    ended: bool
    water_error: float
    solids_error: float

    @property
    def retained(self) -> float:
        """What passed the meter and is not in the cup [g]."""
        return self.water_kept - self.dissolved


def simulate(setup: Setup, *, step: float = 0.1) -> SimulatedShot:
    """Pull the shot; samples every `step` [s, 0.01 to 10] and at its end.

    Raises QuantityError naming step; the parts of the setup have checked themselves.
    """
    every = real("step", step, least=0.01, most=10.0)
    engine = Engine(setup)
    stretches = engine.solve()
    end = stretches[-1].stop
    times = np.append(np.arange(0.0, end - TINY, every), end)
    states, phases = _sampled(stretches, times)
    return _outcome(setup, engine, stretches, _trace(engine, times, states, phases), states[:, -1])


def _sampled(stretches: list[Stretch], times: Floats) -> tuple[Floats, list[Phase]]:
    """States (8 x n) at the times, and the phase of each."""
    states = np.empty((8, times.size))
    phases: list[Phase] = []
    for at, stretch in enumerate(stretches):
        last = at == len(stretches) - 1
        inside = (times >= stretch.start) & ((times < stretch.stop) | last)
        if inside.any():
            states[:, inside] = stretch.at(times[inside])
        phases += [stretch.phase] * int(inside.sum())
    return states, phases


def _trace(engine: Engine, times: Floats, states: Floats, phases: list[Phase]) -> Trace:
    pairs = [
        engine.flow(phase, float(time), states[:, at].tolist())
        for at, (time, phase) in enumerate(zip(times, phases, strict=True))
    ]
    pressure, flow = np.array(pairs).T
    pouring = np.array([phase is Phase.POUR for phase in phases])
    in_puck = states[DISSOLVED] + states[HELD]
    share = np.divide(states[DISSOLVED], in_puck, out=np.zeros_like(in_puck), where=in_puck > TINY)
    return Trace(
        time=times,
        flow=flow / engine.cold,
        pressure=pressure,
        water=states[METERED] / engine.cold,
        beverage=states[CUP] + states[POURED],
        solids=states[POURED],
        strength=np.where(pouring, 100.0 * share, 0.0),
    )


def _outcome(
    setup: Setup, engine: Engine, stretches: list[Stretch], trace: Trace, y: Floats
) -> SimulatedShot:
    beverage = float(y[CUP] + y[POURED])
    pours = [one.start for one in stretches if one.phase is Phase.POUR]
    solids = y[FAST] + y[SLOW] + y[DISSOLVED] + y[POURED]
    return SimulatedShot(
        trace=trace,
        time=stretches[-1].stop,
        first_drop=pours[0] if pours else None,
        water=float(y[METERED]) / engine.cold,
        beverage=beverage,
        tds=100.0 * float(y[POURED]) / beverage if beverage > TINY else 0.0,
        extraction=100.0 * float(y[POURED]) / setup.puck.dose,
        water_kept=float(y[HEAD] + y[HELD]),
        dissolved=float(y[POURED]),
        ended=stretches[-1].stop < LONGEST - TINY,
        water_error=float(y[METERED] - y[HEAD] - y[HELD] - y[CUP]),
        solids_error=float(solids - engine.pools.soluble),
    )
