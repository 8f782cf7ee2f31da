"""Control charts: invariances, drift found, and the honest word about small numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stations.metrology.capability import capability, capability_from
from stations.metrology.charts import (
    Baseline,
    cusum_chart,
    ewma_chart,
    freeze_baseline,
    individuals_chart,
    moving_range_chart,
)
from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Floats
from stations.metrology.run_rules import RunRule, find_signals, standardised

shots = st.lists(st.floats(20, 60), min_size=3, max_size=50).filter(lambda v: np.ptp(v) > 0.1)
BASE = Baseline(centre=36.0, sigma=0.5, count=30, mean_range=0.564)


def drift(at: int, by: float) -> Floats:
    """Return 60 quiet shots that move by some grams from a shot on."""
    values = np.random.default_rng(2).normal(36, 0.5, 60)
    values[at:] += by
    return values


def test_a_jump_is_seen_at_once_and_a_drift_by_the_slow_charts() -> None:
    assert 41 in individuals_chart(drift(40, 3.0), BASE).signals
    slow = drift(30, 0.6)
    assert any(place > 30 for place in ewma_chart(slow, BASE).signals)
    assert any(
        place > 30 for place in cusum_chart(slow, target=36, allowance=0.25, decision=2.5).signals
    )


def test_a_frozen_baseline_is_not_widened_by_what_follows() -> None:
    before = individuals_chart(drift(40, 0.0), BASE)
    after = individuals_chart(drift(40, 9.0), BASE)
    assert before.upper[0] == after.upper[0] == 37.5


def test_a_point_on_the_limit_is_no_signal() -> None:
    assert individuals_chart([37.5, 34.5], BASE).signals == []
    assert individuals_chart([37.5000001], BASE).signals == [1]


@given(shots, st.floats(0.1, 1000), st.floats(-100, 100))
def test_units_do_not_change_what_is_seen(values: list[float], scale: float, shift: float) -> None:
    array = np.array(values)
    ours, theirs = freeze_baseline(array), freeze_baseline(array * scale + shift)
    assert theirs.sigma == pytest.approx(ours.sigma * scale, rel=1e-6)
    one = standardised(array, ours)
    other = standardised(array * scale + shift, theirs)
    assert other == pytest.approx(one, abs=1e-5)


@given(shots)
def test_cusum_equals_the_step_by_step_maximum(values: list[float]) -> None:
    found = cusum_chart(values, target=36, allowance=0.25, decision=2.5)
    high = low = 0.0
    for place, value in enumerate(values):
        high = max(0.0, high + value - 36 - 0.25)
        low = max(0.0, low + 36 - 0.25 - value)
        assert found.high[place] == pytest.approx(high, abs=1e-9)
        assert found.low[place] == pytest.approx(low, abs=1e-9)
    assert (found.high >= 0).all()


@given(shots, st.floats(0.01, 1.0))
def test_ewma_equals_the_step_by_step_average(values: list[float], weight: float) -> None:
    found = ewma_chart(values, BASE, weight=weight)
    level = BASE.centre
    for place, value in enumerate(values):
        level = weight * value + (1 - weight) * level
        assert found.plotted[place] == pytest.approx(level, rel=1e-9)


@given(shots)
def test_ewma_of_weight_one_is_the_individuals_chart(values: list[float]) -> None:
    one, other = ewma_chart(values, BASE, weight=1), individuals_chart(values, BASE)
    assert one.signals == other.signals
    early = ewma_chart(values, BASE, weight=1, settled=False)
    assert early.upper == pytest.approx(other.upper)


def test_moving_range_sees_a_spilt_cup() -> None:
    assert moving_range_chart([36, 36.2, 31, 36.1], BASE).signals == [2, 3]


def test_few_shots_make_a_provisional_baseline() -> None:
    assert freeze_baseline([36, 36.5, 35.8]).provisional
    assert not freeze_baseline(drift(0, 0.0)).provisional


def test_a_signal_says_what_it_means() -> None:
    signal = find_signals(np.array([0.0, 3.5]), [RunRule.N1])[0]
    assert (signal.position, signal.meaning) == (2, "one point beyond 3 sigma")


def test_equal_shots_make_no_baseline() -> None:
    with pytest.raises(BadValueError, match="baseline"):
        freeze_baseline([36.0] * 30)


def test_capability_says_when_it_cannot_tell() -> None:
    few = capability(drift(0, 0.0)[:8], lower=34, upper=38)
    assert few.conclusion == "not known yet"
    assert "fewer than 10 shots" in few.sentence
    assert capability_from(500, 36, 0.4, lower=34, upper=38).conclusion == "capable"
    assert capability_from(500, 36, 1.0, lower=34, upper=38).conclusion == "not capable"


def test_shots_needed_are_enough_and_not_too_many() -> None:
    few = capability_from(20, 36, 0.4, lower=34, upper=38)
    assert few.shots_needed is not None
    enough, fewer = few.shots_needed, int(few.shots_needed * 0.97)
    assert capability_from(enough, 36, 0.4, lower=34, upper=38).conclusion == "capable"
    assert capability_from(fewer, 36, 0.4, lower=34, upper=38).conclusion == "not known yet"


@given(shots, st.floats(0.1, 1000))
def test_capability_is_free_of_units(values: list[float], scale: float) -> None:
    one = capability(values, lower=10, upper=70)
    other = capability(np.array(values) * scale, lower=10 * scale, upper=70 * scale)
    assert other.cpk == pytest.approx(one.cpk, rel=1e-6)
    assert one.cp is not None
    assert one.cpk <= one.cp + 1e-9
    assert one.cpk_interval[0] <= one.cpk <= one.cpk_interval[1]
