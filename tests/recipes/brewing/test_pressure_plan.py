"""Pressure plans: the trade's ordinary ones are called so, odd ones are named."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.brewing.errors import QuantityError
from recipes.brewing.plan_check import check_plan
from recipes.brewing.pressure_plan import PressurePlan, Stage, pieces, pressure

# Pre-infusion at line pressure for about 4 s, a rise of about 2 s, an intermediate 7 bar and then
# 9 bar at the pump, the last 8 % of the water tapering: common practice, no source.
ORDINARY = PressurePlan(
    preinfusion_time=4.0, preinfusion_pressure=3.0, rise_time=2.0, intermediate_pressure=7.0,
    brew_pressure=9.0, taper_start=92.0, taper_pressure=6.0,
)  # fmt: skip
bars = st.floats(0.0, 15.0)
plans = st.builds(
    PressurePlan, brew_pressure=bars, preinfusion_time=st.floats(0, 60), preinfusion_pressure=bars,
    rise_time=st.floats(0, 60), intermediate_pressure=st.none() | bars,
    taper_start=st.floats(0, 100), taper_pressure=bars,
)  # fmt: skip


def test_the_ordinary_plan_is_called_ordinary() -> None:
    assert check_plan(ORDINARY) == []
    assert check_plan(PressurePlan(brew_pressure=9.0)) == []
    assert check_plan(replace(ORDINARY, intermediate_pressure=None)) == []
    for line_pressure in (1.5, 2.0, 4.0):
        assert check_plan(replace(ORDINARY, preinfusion_pressure=line_pressure)) == []


def test_its_pieces() -> None:
    assert [(one.stage, one.start, one.stop) for one in pieces(ORDINARY)] == [
        (Stage.PREINFUSION, 0.0, 4.0), (Stage.RISE, 4.0, 5.0), (Stage.SECOND_RISE, 5.0, 6.0),
        (Stage.BREW, 6.0, None), (Stage.TAPER, None, None),
    ]  # fmt: skip
    asked = {0.0: 3.0, 3.99: 3.0, 4.5: 5.0, 5.0: 7.0, 5.5: 8.0, 6.0: 9.0, 25.0: 9.0}
    assert {at: pressure(ORDINARY, at) for at in asked} == pytest.approx(asked)
    assert pressure(ORDINARY, 25.0, 0.92) == 9.0
    assert pressure(ORDINARY, 25.0, 0.96) == pytest.approx(7.5)
    assert pressure(ORDINARY, 25.0, 1.0) == pytest.approx(6.0)


@pytest.mark.parametrize(("change", "field"), [
    ({"brew_pressure": 3.0}, "brew_pressure"),
    ({"preinfusion_time": 40.0}, "preinfusion_time"),
    ({"preinfusion_pressure": 0.0}, "preinfusion_pressure"),
    ({"preinfusion_time": 0.0}, "preinfusion_time"),
    ({"intermediate_pressure": 10.0}, "intermediate_pressure"),
    ({"intermediate_pressure": 2.0}, "intermediate_pressure"),
    ({"rise_time": 0.0}, "rise_time"),
    ({"rise_time": 0.2}, "rise_time"),
    ({"taper_start": 20.0}, "taper_start"),
    ({"taper_pressure": 9.5}, "taper_pressure"),
])  # fmt: skip
def test_odd_plans_are_named(change: dict[str, float], field: str) -> None:
    found = check_plan(replace(ORDINARY, **change))
    assert field in [one.field for one in found]
    assert all(one.words for one in found)


@given(plans, st.floats(0, 200), st.floats(0, 1))
def test_pressure_stays_within_what_the_plan_names(
    plan: PressurePlan, at: float, poured: float
) -> None:
    named = [plan.brew_pressure, plan.preinfusion_pressure, plan.taper_pressure or 0.0]
    named += [plan.intermediate_pressure] if plan.intermediate_pressure is not None else []
    asked = pressure(plan, at, poured)
    assert min(named) - 1e-9 <= asked <= max(named) + 1e-9
    check_plan(plan)


@given(plans)
def test_pieces_follow_on_one_another(plan: PressurePlan) -> None:
    timed = [one for one in pieces(plan) if one.start is not None]
    assert timed[0].start == 0.0
    for one, after in pairwise(timed):
        assert one.stop == after.start
    assert timed[-1].stop is None


@pytest.mark.parametrize("bad", [math.nan, math.inf, -0.1, 16.0, "9", None])
def test_a_bad_value_is_named(bad: float) -> None:
    with pytest.raises(QuantityError, match="brew_pressure"):
        PressurePlan(brew_pressure=bad)


def test_half_a_taper_is_named() -> None:
    with pytest.raises(QuantityError, match="taper_pressure"):
        PressurePlan(brew_pressure=9.0, taper_start=92.0)
    with pytest.raises(QuantityError, match="taper_start"):
        PressurePlan(brew_pressure=9.0, taper_pressure=5.0)
