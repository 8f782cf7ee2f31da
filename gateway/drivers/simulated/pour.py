"""One simulated shot: from what a slot holds and how the station is, to the figures and a trace.

A plain model, seeded by the caller: water through a puck of constant resistance under a pressure
that rises in a straight line. Magnitudes: common practice for espresso, no source.
"""

import math
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass

PUCK = 3.7  # bar per mL/s at 18 g, once it is wet
STEP = 0.5  # s between two points of a trace
FINE = 5  # steps of the computation in one of those
BY_HAND = 60.0  # s, then somebody ends a shot that does not end by itself


@dataclass(frozen=True)
class Condition:
    """How a station really is, whatever its slot says."""

    pulses_per_ml: float = 2.0
    probe_offset: float = 0.0  # K that the group is above what is set
    resistance: float = 1.0  # of the puck, times that of a usual one
    dose: float = 18.0  # g
    spread: float = 0.1  # g, of doses
    retained: float = 2.2  # g of water that each g of coffee takes up at most
    noise: float = 0.02  # relative, one standard deviation
    restriction: float = 0.0  # bar per mL/s of scale in the pipe
    counts: bool = True  # the flow meter gives pulses at all
    spilt: float = 0.0  # share of the cup that misses the scale


@dataclass(frozen=True)
class Poured:
    """What came out, in s, g, mL, Cel; points (s, bar, mL/s, g, Cel) of the trace."""

    time: float
    dose: float
    beverage: float
    water: float
    temperature: float
    points: tuple[tuple[float, float, float, float, float], ...]


# Another model may be put here by the bar's map (``pour = "package.module:function"``).
Pour = Callable[[Mapping[str, float], str, Condition, random.Random], Poured]


def pour(
    settings: Mapping[str, float], ends_by: str, condition: Condition, chance: random.Random
) -> Poured:
    """Pull one shot. ``settings`` by code, in the machine's own units (pulses for water)."""
    dose = chance.gauss(condition.dose, condition.spread)
    resistance = condition.resistance * math.exp(chance.gauss(0.0, condition.noise)) * dose / 18.0
    volume = settings.get("water_volume", 80.0) / condition.pulses_per_ml
    if not condition.counts:
        volume = math.inf
    temperature = settings.get("brew_temperature", 93.0) + condition.probe_offset
    points: list[tuple[float, float, float, float, float]] = []
    time = water = mass = 0.0
    steps = 0
    while not _ended(settings, ends_by, time, water, volume, mass) and time < BY_HAND:
        pressure = pressure_at(settings, time)
        flow = pressure / (PUCK * resistance + condition.restriction)
        if steps % FINE == 0:
            points.append((time, pressure, flow, mass, temperature + chance.gauss(0.0, 0.1)))
        steps += 1
        time = steps * STEP / FINE
        water += flow * STEP / FINE
        mass = cup(water, condition.retained * dose)
    return Poured(time, dose, mass, water, temperature, tuple(points))


def cup(water: float, takes_up: float) -> float:
    """What of the water (g) has passed a puck that fills more slowly the fuller it is."""
    return water - takes_up * (1.0 - math.exp(-water / takes_up))


def counted(poured: Poured, now: Condition, new: Condition) -> float | None:
    """The volume (mL) that the machine tells: its pulses by what a mL was when it was new."""
    return poured.water * now.pulses_per_ml / new.pulses_per_ml if now.counts else None


def pressure_at(settings: Mapping[str, float], time: float) -> float:
    """The pressure, bar (gauge), at a moment: pre-infusion, a straight rise, brewing."""
    soak = settings.get("preinfusion_time", 0.0)
    low = settings.get("preinfusion_pressure", 2.0) if soak else 0.0
    high = settings.get("brew_pressure", 9.0)
    if time < soak:
        return max(low, 0.5)
    rise = max(settings.get("rise_time", 2.0), STEP)
    return max(0.5, min(high, low + (high - low) * (time - soak) / rise))


def _ended(  # noqa: PLR0917 - the state of one moment
    settings: Mapping[str, float],
    ends_by: str,
    time: float,
    water: float,
    volume: float,
    mass: float,
) -> bool:
    if ends_by == "time":
        return time >= settings.get("shot_time", 28.0)
    if ends_by == "mass":
        return mass >= settings.get("beverage_mass", 36.0)
    return water >= volume
