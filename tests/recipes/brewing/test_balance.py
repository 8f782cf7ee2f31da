"""Water balance: a spilt cup does not count, intervals cover, water and mass go back and forth."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.brewing.balance import (
    ASSUMED,
    COLD_WATER,
    Shot,
    forecast_beverage,
    learn_retention,
    parts,
    retained_ratio,
    water_for,
)
from recipes.brewing.errors import QuantityError

RATIO, SPREAD = 1.1, 0.05


def shots(count: int, seed: int = 1) -> list[Shot]:
    chance = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        dose, water = chance.normal(18.0, 0.1), chance.normal(58.0, 0.6)
        kept = dose * chance.normal(RATIO, SPREAD)
        found.append(Shot(dose, water, COLD_WATER / 1000 * water - kept))
    return found


def test_a_spilt_cup_is_set_aside_and_named() -> None:
    clean = shots(20)
    spilt = [*clean[:7], Shot(18.0, 58.0, 21.0), *clean[7:]]
    learnt = learn_retention(spilt)
    assert learnt.set_aside == (7,)
    assert learnt.ratio == pytest.approx(learn_retention(clean).ratio, abs=1e-12)
    assert learnt.low < RATIO < learnt.high


def test_two_spilt_cups_of_six_are_still_set_aside() -> None:
    assert learn_retention([*shots(5), Shot(18.0, 58.0, 20.0), Shot(18.0, 58.0, 1.0)]
                           ).set_aside == (5, 6)  # fmt: skip


def test_prediction_interval_covers_the_next_shot() -> None:
    covered, trials = 0, 600
    for trial in range(trials):
        *known, last = shots(9, seed=trial)
        made = forecast_beverage(learn_retention(known), dose=last.dose, water=last.water)
        covered += made.low <= last.beverage <= made.high
    # 95 % asked for; four standard deviations of 600 trials are 3.6 %.
    assert 0.914 <= covered / trials <= 0.986


@given(st.floats(5.0, 30.0), st.floats(10.0, 300.0), st.floats(950.0, 1000.0))
def test_water_for_a_mass_gives_that_mass(dose: float, beverage: float, density: float) -> None:
    learnt = learn_retention(shots(12))
    water = water_for(learnt, dose=dose, beverage=beverage, density=density)
    made = forecast_beverage(learnt, dose=dose, water=water, density=density)
    assert made.mass == pytest.approx(beverage, rel=1e-9)
    assert made.low < made.mass < made.high


@given(st.floats(0.0, 2.0))
def test_a_doubtful_meter_widens_the_interval(doubt: float) -> None:
    learnt = learn_retention(shots(12))
    sure = forecast_beverage(learnt, dose=18.0, water=58.0)
    made = forecast_beverage(learnt, dose=18.0, water=58.0, water_u=doubt)
    assert made.high - made.low >= sure.high - sure.low


def test_without_shots_the_common_range_is_the_interval() -> None:
    made = forecast_beverage(ASSUMED, dose=18.0, water=58.0, density=1000.0)
    assert (made.low, made.mass, made.high) == pytest.approx((58 - 23.4, 40.0, 58 - 14.4))


def test_no_limit_is_below_nothing() -> None:
    made = forecast_beverage(ASSUMED, dose=18.0, water=20.0)
    assert (made.low, made.mass > 0) == (0.0, True)
    scattered = [Shot(18.0, 40.0, cup) for cup in (3.0, 12.0, 21.0, 30.0, 39.0)]
    learnt = learn_retention(scattered)
    assert learnt.low >= 0.0
    assert forecast_beverage(learnt, dose=18.0, water=40.0).low == 0.0


def test_water_and_solids_are_told_apart() -> None:
    # By definition: 68 mL at 998.2 g/L less 36 g is 31.88 g; 36 g at 10 % hold 3.6 g of solids.
    told = parts(Shot(18.0, 68.0, 36.0), 10.0)
    assert (told.water, told.solids) == pytest.approx((35.4776 / 18, 0.2), abs=1e-4)
    assert told.retained == pytest.approx(31.8776 / 18, abs=1e-4)


def test_equal_shots_have_no_spread_and_no_error() -> None:
    learnt = learn_retention([Shot(18.0, 58.0, 38.0)] * 5)
    assert learnt.spread == pytest.approx(0.0, abs=1e-12)
    assert math.isfinite(learnt.high)


@pytest.mark.parametrize(("shot", "field"), [
    (Shot(math.nan, 58.0, 38.0), "dose"),
    (Shot(18.0, math.inf, 38.0), "water"),
    (Shot(18.0, 58.0, -1.0), "beverage"),
    (Shot(18.0, 58.0, 90.0), "beverage"),
    (Shot(0.0, 58.0, 38.0), "dose"),
])  # fmt: skip
def test_a_bad_shot_is_named(shot: Shot, field: str) -> None:
    with pytest.raises(QuantityError) as caught:
        learn_retention([*shots(5), shot])
    assert caught.value.field == field


def test_too_little_is_said() -> None:
    with pytest.raises(QuantityError, match="5 or more"):
        learn_retention(shots(4))
    with pytest.raises(QuantityError, match="which the coffee keeps"):
        forecast_beverage(ASSUMED, dose=18.0, water=15.0)
    with pytest.raises(QuantityError, match="density"):
        retained_ratio(Shot(18.0, 58.0, 38.0), density=0.998)
