"""The shot model: nothing is lost, it does what physics says, it meets what can be worked out."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.brewing.balance import Shot, parts, retained_ratio
from recipes.brewing.errors import QuantityError
from recipes.brewing.pressure_plan import PressurePlan, Schedule
from recipes.brewing.shot_model.engine import HEAD, HELD, Engine, Phase
from recipes.brewing.shot_model.parameters import (
    Coffee,
    Ending,
    EndsBy,
    Machine,
    Puck,
    Setup,
    ranges_of,
)
from recipes.brewing.shot_model.simulate import simulate
from tests.recipes.brewing.shots import DOUBLE, anything, double, setups


def test_the_ordinary_double() -> None:
    made = simulate(DOUBLE)
    assert 22 < made.time < 32
    assert 36 < made.beverage < 42
    assert 18 < made.extraction < 22
    assert 0.8 < made.retained / 18 < 1.3  # references 6.7: common practice
    assert made.water == pytest.approx(57.0, abs=1e-6)


@settings(max_examples=30)
@given(setups)
def test_retained_is_what_the_water_balance_calls_so(setup: Setup) -> None:
    made = simulate(setup, step=0.5)
    dose, metered = setup.puck.dose, 1000.0 * (made.water_kept + made.beverage - made.dissolved)
    cold = metered / made.water
    shot = Shot(dose, made.water, made.beverage)
    assert made.retained / dose == pytest.approx(retained_ratio(shot, cold), abs=1e-9)
    told = parts(shot, made.tds, cold)
    assert (told.water * dose, told.solids * dose) == pytest.approx(
        (made.water_kept, made.dissolved), abs=1e-6
    )
    assert told.retained == pytest.approx(made.retained / dose, abs=1e-9)


@settings(max_examples=60)
@given(setups)
def test_water_and_solids_are_kept(setup: Setup) -> None:
    made = simulate(setup, step=0.5)
    assert abs(made.water_error) < 1e-9
    assert abs(made.solids_error) < 1e-9
    trace = made.trace
    for series in (trace.flow, trace.pressure, trace.water, trace.beverage, trace.solids):
        assert np.isfinite(series).all()
        assert (series >= -1e-9).all()
    assert np.isfinite(trace.strength).all()
    for series in (trace.water, trace.beverage, trace.solids):
        assert (np.diff(series) >= -1e-9).all()
    schedule = Schedule(setup.plan)
    full = setup.taper_water
    for at, time in enumerate(trace.time[:-1]):
        poured = min(trace.water[at] / full, 1.0) if full else 0.0
        assert trace.pressure[at] <= schedule.asked(float(time), float(poured)) + 1e-6
    assert made.extraction <= 100 * setup.coffee.soluble + 1e-9


@settings(max_examples=40)
@given(anything)
def test_whatever_is_allowed_ends_in_finite_numbers_with_nothing_lost(setup: Setup) -> None:
    made = simulate(setup, step=5.0)
    kept = made.water_kept
    for value in (made.time, made.water, made.beverage, made.tds, made.extraction, kept):
        assert math.isfinite(value)
        assert value >= -1e-9
    assert abs(made.water_error) < 1e-9
    assert abs(made.solids_error) < 1e-9


@settings(max_examples=15)
@given(st.floats(7, 18), st.floats(1.03, 1.5))
def test_coarser_runs_faster(grind: float, factor: float) -> None:
    fine, coarse = simulate(double(grind=grind)), simulate(double(grind=grind * factor))
    assert coarse.time < fine.time
    assert coarse.extraction < fine.extraction


@settings(max_examples=15)
@given(st.floats(12, 20), st.floats(0.3, 5))
def test_a_larger_dose_runs_slower_and_keeps_more(dose: float, more: float) -> None:
    small, large = simulate(double(dose=dose)), simulate(double(dose=dose + more))
    assert large.time > small.time
    assert large.beverage < small.beverage
    assert large.tds > small.tds


@settings(max_examples=15)
@given(st.floats(5, 10), st.floats(0.2, 3))
def test_more_pressure_runs_faster(bar: float, more: float) -> None:
    low, high = simulate(double(brew_pressure=bar)), simulate(double(brew_pressure=bar + more))
    assert high.time < low.time


@settings(max_examples=15)
@given(st.floats(40, 90), st.floats(1, 30))
def test_more_water_gives_a_larger_weaker_cup_and_extracts_more(water: float, more: float) -> None:
    less = simulate(replace(DOUBLE, ending=Ending(EndsBy.VOLUME, water)))
    long = simulate(replace(DOUBLE, ending=Ending(EndsBy.VOLUME, water + more)))
    assert long.beverage > less.beverage
    assert long.tds < less.tds
    assert long.extraction > less.extraction


def inert(**puck: float) -> Setup:
    """A puck that neither swells nor dissolves, at a steady 6 bar from a strong pump."""
    return Setup(
        PressurePlan(brew_pressure=6.0), Ending(EndsBy.TIME, 30.0),
        puck=Puck(swelling=0.0, opening=0.0, **puck),
        coffee=Coffee(fast=0.0, slow_rate=0.0),
        machine=Machine(free_flow=50.0, pump_limit=25.0),
    )  # fmt: skip


def test_wetting_follows_the_square_root_and_pouring_is_steady() -> None:
    setup = inert()
    engine, made = Engine(setup), simulate(setup)
    flow = engine.bed.conductance(1.0, 0.0) * 6.0
    fill = setup.machine.headspace / setup.machine.free_flow
    # Only the wetted depth resists: capacity^2 / (2 capacity G p), Green and Ampt without suction.
    wet = setup.puck.capacity / (2.0 * flow)
    assert made.first_drop == pytest.approx(fill + wet, rel=0.02)
    assert made.trace.flow[-1] == pytest.approx(flow / engine.cold, rel=1e-9)
    assert made.beverage == pytest.approx(flow * (30.0 - (made.first_drop or 0.0)), rel=1e-6)
    assert made.extraction == 0.0


def test_washing_out_a_mixed_puck_is_exponential() -> None:
    setup = replace(inert(), coffee=Coffee(fast=1.0, fast_rate=5.0, saturation=2.0))
    made = simulate(setup)
    flow = made.trace.flow[-1] * 0.9982
    late = made.trace.time > (made.first_drop or 0.0) + 2.0
    grams = made.trace.strength[late] / (100.0 - made.trace.strength[late])
    slope = np.polyfit(made.trace.time[late], np.log(grams), 1)[0]
    assert slope == pytest.approx(-flow / setup.puck.capacity, rel=1e-3)


def test_a_plain_euler_march_ends_at_the_same_cup() -> None:
    engine, made = Engine(DOUBLE), simulate(DOUBLE)
    fast, slow = engine.pools.start
    y, phase, time, step = [0.0, 0.0, 0.0, 0.0, fast, slow, 0.0, 0.0], Phase.FILL, 0.0, 0.002
    limits = {
        Phase.FILL: (HEAD, DOUBLE.machine.headspace * engine.cold),
        Phase.WET: (HELD, DOUBLE.puck.capacity),
    }
    while y[0] < 57.0 * engine.cold:
        rates = engine.rate(phase, time, y)
        y = [mass + step * rate for mass, rate in zip(y, rates, strict=True)]
        time += step
        if phase in limits and y[limits[phase][0]] >= limits[phase][1]:
            phase = Phase(phase + 1)
    assert time == pytest.approx(made.time, abs=0.02)
    assert y[3] + y[7] == pytest.approx(made.beverage, abs=0.02)
    assert 100 * y[7] / 18 == pytest.approx(made.extraction, abs=0.05)


def test_a_choked_shot_is_cut_and_says_so() -> None:
    made = simulate(double(grind=2.0, porosity=0.08), step=5.0)
    assert not made.ended
    assert made.first_drop is None
    assert made.beverage == made.tds == made.extraction == 0.0


def test_ending_by_mass_or_time_is_kept() -> None:
    assert simulate(replace(DOUBLE, ending=Ending(EndsBy.MASS, 36.0))).beverage == pytest.approx(
        36.0, abs=1e-6
    )
    assert simulate(replace(DOUBLE, ending=Ending(EndsBy.TIME, 25.0))).time == 25.0


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0, 1e9, "18", None])
@pytest.mark.parametrize("field", ["dose", "grind", "soluble", "free_flow", "temperature"])
def test_a_bad_value_is_named(field: str, bad: float) -> None:
    with pytest.raises(QuantityError) as caught:
        double(**{field: bad})
    assert caught.value.field == field


def test_other_bad_input_is_named() -> None:
    with pytest.raises(QuantityError, match="step"):
        simulate(DOUBLE, step=0.0)
    with pytest.raises(QuantityError, match="water"):
        replace(DOUBLE, water=-1.0)
    with pytest.raises(QuantityError, match="ending by volume"):
        Ending(EndsBy.VOLUME, math.nan)
    with pytest.raises(QuantityError, match="parameter"):
        ranges_of("tamping")
