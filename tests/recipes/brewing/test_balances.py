"""Balances of many stations at once are those of one station at a time."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.brewing.balance import (
    ASSUMED,
    FEWEST_SHOTS,
    Retention,
    Shot,
    forecast_beverage,
    learn_retention,
    retained_ratio,
    water_for,
)
from recipes.brewing.balances import (
    Retentions,
    forecast_beverages,
    learn_retentions,
    retained_ratios,
    retention_at,
    waters_for,
)
from recipes.brewing.errors import QuantityError

SHOTS = st.builds(Shot, st.floats(10, 22), st.floats(30, 90), st.floats(5, 70))
FLEETS = st.lists(st.lists(SHOTS, max_size=12), min_size=1, max_size=6)


def one_at_a_time(fleet: list[list[Shot]]) -> list[Retention]:
    found = []
    for shots in fleet:
        sound = [shot for shot in shots if possible(shot)]
        found.append(learn_retention(sound) if len(sound) >= FEWEST_SHOTS else ASSUMED)
    return found


def possible(shot: Shot) -> bool:
    try:
        retained_ratio(shot)
    except QuantityError:
        return False
    return True


def together(fleet: list[list[Shot]]) -> Retentions:
    whose = np.repeat(np.arange(len(fleet)), [len(shots) for shots in fleet])
    columns = np.array(
        [(s.dose, s.water, s.beverage) for shots in fleet for s in shots], dtype=float
    ).reshape(-1, 3)
    return learn_retentions(whose, retained_ratios(*columns.T), len(fleet))


@settings(max_examples=200)
@given(FLEETS, st.integers(0, 2**32))
def test_in_any_order_they_equal_one_at_a_time(fleet: list[list[Shot]], seed: int) -> None:
    for shots in fleet:
        np.random.default_rng(seed).shuffle(shots)
    found = together(fleet)
    for place, expected in enumerate(one_at_a_time(fleet)):
        mine = retention_at(found, place)
        assert (mine.used, mine.learnt) == (expected.used, expected.learnt)
        assert int(found.aside[place]) == len(expected.set_aside)
        for name in ("ratio", "low", "high", "spread"):
            assert getattr(mine, name) == pytest.approx(getattr(expected, name), abs=1e-9), name


@settings(max_examples=100)
@given(FLEETS, st.floats(15, 20), st.floats(20, 60), st.floats(0, 1))
def test_water_and_forecast_equal_one_at_a_time(
    fleet: list[list[Shot]], dose: float, beverage: float, doubt: float
) -> None:
    found = together(fleet)
    water = waters_for(found, dose=dose, beverage=beverage)
    told = forecast_beverages(found, dose=dose, water=water, water_u=np.full(water.size, doubt))
    for place, known in enumerate(one_at_a_time(fleet)):
        alone = water_for(known, dose=dose, beverage=beverage)
        assert water[place] == pytest.approx(alone, abs=1e-9)
        if alone <= doubt or alone < 0.1:
            continue  # the shot balance refuses such water; a machine's range does here
        one = forecast_beverage(known, dose=dose, water=alone, water_u=doubt)
        assert (told.mass[place], told.low[place], told.high[place]) == pytest.approx(
            (one.mass, one.low, one.high), abs=1e-7
        )
        assert told.mass[place] == pytest.approx(beverage, abs=1e-7)


def test_no_shots_at_all_are_all_assumed() -> None:
    found = learn_retentions(np.array([], dtype=int), np.array([]), 3)
    assert found.ratio.tolist() == [ASSUMED.ratio] * 3
    assert not found.learnt.any()
