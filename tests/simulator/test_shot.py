"""A simulated station pours as the shot model says, quickly enough for a bar of them."""

import random
from dataclasses import replace

import numpy as np
import pytest

from gateway.drivers.simulated.dial import Dial, dialled
from gateway.drivers.simulated.pour import Condition, Poured
from recipes.brewing.shot_model.simulate import simulate
from simulator.shot import BY_HAND, pour, setup_of

STILL = Condition(noise=0.0, spread=0.0, retained=0.9)
SET = {"water_volume": 114.0, "brew_temperature": 93.0}
SLOW = {
    "water_volume": 150.0, "preinfusion_time": 6.0, "preinfusion_pressure": 3.0, "rise_time": 4.0,
    "intermediate_pressure": 5.0, "taper_start": 110.0, "taper_pressure": 6.0,
}  # fmt: skip


def poured(held: dict[str, float], condition: Condition, ends_by: str = "volume") -> Poured:
    return pour(held, ends_by, condition, random.Random(1))


@pytest.mark.parametrize(
    ("held", "ends_by"),
    [
        (SET, "volume"),
        (SLOW, "volume"),
        ({"beverage_mass": 36.0}, "mass"),
        ({"shot_time": 28.0, "water_volume": 120.0}, "time"),
        ({}, "operator"),
    ],
)
@pytest.mark.parametrize("resistance", [0.7, 1.0, 1.6])
def test_a_station_without_scale_pours_what_the_model_pours(
    held: dict[str, float], ends_by: str, resistance: float
) -> None:
    condition = replace(STILL, resistance=resistance)
    fast, exact = (
        poured(held, condition, ends_by),
        simulate(setup_of(held, ends_by, condition)),
    )
    assert fast.time == pytest.approx(exact.time, abs=0.01)
    assert fast.beverage == pytest.approx(exact.beverage, abs=0.01)
    assert fast.water == pytest.approx(exact.water, abs=0.01)
    drawn = np.interp([at for at, *_ in fast.points], exact.trace.time, exact.trace.beverage)
    assert [point[3] for point in fast.points] == pytest.approx(list(drawn), abs=0.02)


def test_finer_scaled_and_colder_all_run_slower() -> None:
    usual = poured(SET, STILL).time
    for worse in ({"resistance": 1.2}, {"restriction": 0.5}, {"probe_offset": -3.0}):
        assert poured(SET, replace(STILL, **worse)).time > usual + 0.5  # type: ignore[arg-type]


def test_a_meter_that_counts_more_lets_less_through() -> None:
    usual, worn = poured(SET, STILL), poured(SET, replace(STILL, pulses_per_ml=2.06))
    assert usual.water == pytest.approx(57.0, abs=0.01)
    assert worn.water == pytest.approx(57.0 / 1.03, abs=0.01)
    assert usual.beverage - worn.beverage == pytest.approx(57.0 - 57.0 / 1.03, abs=0.1)


def test_a_dead_meter_leaves_it_to_somebody_to_end_the_shot() -> None:
    assert poured(SET, replace(STILL, counts=False)).time == pytest.approx(BY_HAND)


@pytest.mark.parametrize("ends_by", ["volume", "mass", "time"])
def test_somebody_dials_a_recipe_in_with_it(ends_by: str) -> None:
    held = {"water_volume": 160.0, "beverage_mass": 36.0, "shot_time": 28.0}
    if ends_by == "mass":
        del held["water_volume"]
    found = dialled(Condition(), Dial(18.0, 28.0, 36.0), held, ends_by, pour)
    usual = poured(held, replace(found, noise=0.0, spread=0.0), ends_by)
    assert (usual.time, usual.beverage) == pytest.approx((28.0, 36.0), abs=0.05)


def test_settings_no_puck_allows_still_pour_something() -> None:
    odd = replace(STILL, resistance=40.0, retained=20.0, dose=1.0, probe_offset=90.0)
    assert 0.0 < poured({"water_volume": 20.0, "brew_pressure": 20.0}, odd).time <= BY_HAND
