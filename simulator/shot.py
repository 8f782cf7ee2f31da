"""A shot of a simulated station by the shot model: what its slot holds, as that station pours it.

The equations are those of `recipes.brewing.shot_model`, by fixed steps instead of a solver's: some
milliseconds a shot, and within 0.01 s and 0.01 g of it.
"""

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from gateway.drivers.simulated.pour import Condition, Poured
from recipes.brewing.pressure_plan import MOST, PressurePlan
from recipes.brewing.shot_model.engine import CUP, HEAD, HELD, METERED, POURED, Engine, Phase
from recipes.brewing.shot_model.parameters import (
    MACHINE_RANGES,
    PUCK_RANGES,
    Ending,
    EndsBy,
    Machine,
    Puck,
    Setup,
)
from recipes.brewing.shot_model.puck import Bed

STEP = 0.1  # s
DRAWN = 5  # steps between two points of a trace
EXACT = 1e-9  # s, of a moment
BY_HAND = 60.0  # s, then somebody ends a shot that does not end by itself
USUAL = Puck()
WATER, BEVERAGE, SECONDS = 80.0, 36.0, 28.0  # mL, g, s of a slot that says nothing
RISE = 2.0  # s, likewise


class ScaledBed(Bed):
    """A bed behind a pipe with scale in it: two resistances in a row."""

    def __init__(self, puck: Puck, machine: Machine, restriction: float) -> None:
        super().__init__(puck, machine)
        self.restriction = restriction  # bar per g/s

    def conductance(self, wetted: float, extracted: float) -> float:
        """g/s per bar of both together."""
        puck = super().conductance(wetted, extracted)
        return puck / (1.0 + puck * self.restriction)


def pour(
    settings: Mapping[str, float], ends_by: str, condition: Condition, chance: random.Random
) -> Poured:
    """Pull one shot. ``settings`` by code, in the machine's own units (pulses for water)."""
    dose = _within(PUCK_RANGES["dose"], chance.gauss(condition.dose, condition.spread))
    luck = math.exp(chance.gauss(0.0, condition.noise))
    setup = setup_of(settings, ends_by, replace(condition, dose=dose), luck)
    course = Course(setup, condition.restriction)
    course.run()
    temperature = setup.machine.temperature
    points = tuple((*each, temperature + chance.gauss(0.0, 0.1)) for each in course.points)
    water = course.y[METERED] / course.engine.cold
    return Poured(course.time, dose, course.beverage, water, temperature, points)


def setup_of(
    settings: Mapping[str, float], ends_by: str, condition: Condition, luck: float = 1.0
) -> Setup:
    """What the model needs to know; ``luck`` is this puck's resistance by that of a usual one.

    A puck that resists twice as much is ground finer by the root of two (Kozeny and Carman).
    """
    grind = USUAL.grind / math.sqrt(condition.resistance * luck)
    puck = replace(
        USUAL,
        dose=condition.dose,
        grind=_within(PUCK_RANGES["grind"], grind),
        absorbs=_within(PUCK_RANGES["absorbs"], condition.retained),
    )
    temperature = settings.get("brew_temperature", 93.0) + condition.probe_offset
    machine = Machine(temperature=_within(MACHINE_RANGES["temperature"], temperature))
    water = max(settings.get("water_volume", WATER) / condition.pulses_per_ml, 1.0)
    return Setup(plan_of(settings), _ending(settings, ends_by, condition, water), puck=puck,
                 machine=machine, water=water)  # fmt: skip


def plan_of(settings: Mapping[str, float]) -> PressurePlan:
    """The pressure plan that a slot holds."""
    told = {code: min(settings[code], most) for code, most in MOST.items() if code in settings}
    if "taper_start" in told and "water_volume" in settings:
        told["taper_start"] = min(100.0, settings["taper_start"] / settings["water_volume"] * 100.0)
    if ("taper_start" in told) is not ("taper_pressure" in told):
        told = {code: each for code, each in told.items() if not code.startswith("taper")}
    return PressurePlan(**{"brew_pressure": 9.0, "rise_time": RISE, **told})


def _ending(
    settings: Mapping[str, float], ends_by: str, condition: Condition, water: float
) -> Ending:
    if ends_by == "time":
        return Ending(EndsBy.TIME, settings.get("shot_time", SECONDS))
    if ends_by == "mass":
        return Ending(EndsBy.MASS, settings.get("beverage_mass", BEVERAGE))
    if not condition.counts:
        return Ending(EndsBy.TIME, BY_HAND)
    return Ending(EndsBy.VOLUME, water)


@dataclass
class Course:
    """One shot, step by step (the midpoint method), each step cut where the equations change."""

    setup: Setup
    restriction: float
    time: float = 0.0
    phase: Phase = Phase.FILL
    points: list[tuple[float, float, float, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.engine = Engine(self.setup)
        puck, machine = self.setup.puck, self.setup.machine
        self.engine.bed = ScaledBed(puck, machine, self.restriction / self.engine.cold)
        self.y = [0.0, 0.0, 0.0, 0.0, *self.engine.pools.start, 0.0, 0.0]
        head = machine.headspace * self.engine.cold
        self.full = {Phase.FILL: (HEAD, head), Phase.WET: (HELD, puck.capacity)}

    @property
    def beverage(self) -> float:
        """In the cup [g]."""
        return self.y[CUP] + self.y[POURED]

    def run(self) -> None:
        """To its end, or until somebody ends it by hand."""
        due = 0.0
        while self.time < BY_HAND - EXACT:
            if self.time >= due - EXACT:
                self._draw()
                due += DRAWN * STEP
            if self._step(min(STEP, BY_HAND - self.time)):
                return

    def _step(self, step: float) -> bool:
        """One step, or the part of it until something is full or all is over; whether it is."""
        after = self._stepped(step)
        over = _share(1.0, self._gone(self.time, self.y), self._gone(self.time + step, after))
        full = 1.0
        if self.phase is not Phase.POUR:
            place, most = self.full[self.phase]
            full = _share(most, self.y[place], after[place])
        part = min(over, full)
        self.y = after if part >= 1.0 else self._stepped(step * part)
        self.time += step * part
        if full < min(over, 1.0):
            self.phase = Phase(self.phase + 1)
        return over < 1.0 and over <= full

    def _gone(self, time: float, y: list[float]) -> float:
        """Which share of the shot is over."""
        ending = self.setup.ending
        reached = {
            EndsBy.TIME: time,
            EndsBy.MASS: y[CUP] + y[POURED],
            EndsBy.VOLUME: y[METERED] / self.engine.cold,
        }
        return reached[ending.by] / ending.value

    def _stepped(self, step: float) -> list[float]:
        rate = self.engine.rate(self.phase, self.time, self.y)
        middle = [each + step / 2 * by for each, by in zip(self.y, rate, strict=True)]
        rate = self.engine.rate(self.phase, self.time + step / 2, middle)
        return [each + step * by for each, by in zip(self.y, rate, strict=True)]

    def _draw(self) -> None:
        pressure, flow = self.engine.flow(self.phase, self.time, self.y)
        self.points.append((self.time, pressure, flow / self.engine.cold, self.beverage))


def _share(most: float, before: float, after: float) -> float:
    """The part of a step after which something that grows has come to ``most``; 1 if not in it."""
    return max(most - before, 0.0) / (after - before) if after > most else 1.0


def _within(limits: tuple[float, float], value: float) -> float:
    return min(max(value, limits[0]), limits[1])
