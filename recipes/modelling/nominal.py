"""What a formula would pour by the shot model, at its default parameters."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from recipes.brewing.balance import ASSUMED, water_for
from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.parameters import Ending, EndsBy, Machine, Puck, Setup
from recipes.brewing.shot_model.predict import Course
from recipes.brewing.shot_model.simulate import Trace, simulate
from recipes.formula.formula import Formula
from recipes.formula.parameters import ENDED_BY, PARAMETERS, PRESSURE
from recipes.formula.plan import plan_of
from recipes.modelling.overlay import course_of
from stations.metrology.formula import BEVERAGE, DOSE, TEMPERATURE, WATER, Stated
from web.numbers import rounded

ASSUMED_PRESSURE = Decimal(9)  # bar; what a machine gives that doesn't set it: common practice
LEFT_OPEN = "The water is each station's own: the shot ends at its yield."
STEP = 0.25  # s between the samples drawn
ROWS = 12  # of the table beside the traces


@dataclass(frozen=True, slots=True)
class Sample:
    """One moment of the shot: s, bar, mL/s, g in the cup, % strength of the stream."""

    time: Decimal
    pressure: Decimal
    flow: Decimal
    beverage: Decimal
    strength: Decimal


@dataclass(frozen=True, slots=True)
class PredictedShot:
    """The shot the model pours, and over time; ``ended`` False where it was cut short."""

    time: Decimal
    water: Decimal
    beverage: Decimal
    tds: Decimal
    extraction: Decimal
    ended: bool
    samples: list[Sample]
    course: Course
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Poured:
    """A shot as the model takes it, and what had to be assumed since the formula doesn't say."""

    setup: Setup
    assumed: tuple[str, ...] = ()


def setup_of(formula: Formula) -> Poured:
    """The shot as the model knows it. Raises QuantityError naming what is missing or odd."""
    plan = plan_of(formula)
    assumed: tuple[str, ...] = ()
    if plan is None:
        plan = plan_of(formula | {PRESSURE: Stated(ASSUMED_PRESSURE)})
        assumed = (f"No brew pressure is stated: {ASSUMED_PRESSURE} bar is assumed.",)
    assert plan is not None
    dose, code = formula.target(DOSE), ENDED_BY.get(formula.ends_by, BEVERAGE)
    if dose is None:
        raise QuantityError(DOSE, None, "a target")
    if formula.leaves_water:
        code, assumed = BEVERAGE, (*assumed, LEFT_OPEN)
    value, warm = formula.target(code), formula.target(TEMPERATURE)
    if value is None:
        raise QuantityError(code, None, "a target, which ends the shot")
    water = formula.target(WATER)
    if formula.leaves_water:
        water = Decimal(water_for(ASSUMED, dose=float(dose), beverage=float(value)))
    machine = Machine() if warm is None else Machine(temperature=float(warm))
    ending = Ending(EndsBy(PARAMETERS[code].only_if_ends_by), float(value))
    setup = Setup(
        plan, ending, Puck(dose=float(dose)), machine=machine,
        water=None if water is None else float(water),
    )  # fmt: skip
    return Poured(setup, assumed)


def predict_shot(
    formula: Formula,
    fitted: Callable[[Setup], Setup] = lambda setup: setup,
    coarser: float = 1.0,
) -> PredictedShot:
    """Pour it, by a station's fit if there is one, ``coarser`` times as coarsely ground.

    Raises QuantityError naming the parameter that makes no shot.
    """
    poured = setup_of(formula)
    setup = fitted(poured.setup)
    puck = replace(setup.puck, grind=setup.puck.grind * coarser)
    shot = simulate(replace(setup, puck=puck), step=STEP)
    return PredictedShot(
        rounded(shot.time, 1), rounded(shot.water, 1), rounded(shot.beverage, 1),
        rounded(shot.tds, 1), rounded(shot.extraction, 1), shot.ended,
        _samples(shot.trace), course_of(shot), poured.assumed,
    )  # fmt: skip


def _samples(trace: Trace) -> list[Sample]:
    places = np.unique(np.linspace(0, trace.time.size - 1, ROWS).round().astype(int))
    columns = (trace.time, trace.pressure, trace.flow, trace.beverage, trace.strength)
    return [Sample(*(rounded(float(each[at]), 1) for each in columns)) for at in places]
