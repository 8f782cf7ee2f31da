"""Two stations compared: symmetry, margins, and what can't be said yet."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stations.metrology.equivalence import equivalence, equivalence_power, shots_needed
from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Floats

seeds = st.integers(0, 10_000)


def pours(seed: int, mean: float, count: int = 12) -> Floats:
    """Return beverage masses [g] of one station."""
    return np.random.default_rng(seed).normal(mean, 0.5, count)


def test_three_answers() -> None:
    one = pours(1, 36.0, 40)
    margin = {"low_margin": -0.5, "high_margin": 0.5}
    assert equivalence(one, pours(2, 36.0, 40), **margin).conclusion == "equivalent"
    assert equivalence(one, pours(2, 38.0, 40), **margin).conclusion == "different"
    assert equivalence(one[:4], pours(2, 36.2, 4), **margin).conclusion == "not shown yet"


@given(seeds, st.floats(-1, 1))
def test_swapping_the_stations_swaps_the_sign(seed: int, gap: float) -> None:
    one, two = pours(seed, 36), pours(seed + 1, 36 + gap)
    ours = equivalence(one, two, low_margin=-0.5, high_margin=0.5)
    theirs = equivalence(two, one, low_margin=-0.5, high_margin=0.5)
    assert theirs.difference == pytest.approx(-ours.difference)
    assert theirs.p_value == pytest.approx(ours.p_value, rel=1e-9)
    assert theirs.interval == pytest.approx((-ours.interval[1], -ours.interval[0]))


@given(seeds, st.floats(-1, 1))
def test_decision_by_p_value_is_decision_by_interval(seed: int, gap: float) -> None:
    found = equivalence(
        pours(seed, 36), pours(seed + 1, 36 + gap), low_margin=-0.5, high_margin=0.5
    )
    low, high = found.interval
    assert (found.conclusion == "equivalent") == (low > -0.5 and high < 0.5)


@given(seeds, st.floats(0.3, 3))
def test_a_wider_margin_never_makes_it_harder(seed: int, margin: float) -> None:
    one, two = pours(seed, 36), pours(seed + 1, 36)
    narrow = equivalence(one, two, low_margin=-margin, high_margin=margin)
    wide = equivalence(one, two, low_margin=-1.1 * margin, high_margin=1.1 * margin)
    assert wide.p_value <= narrow.p_value


@given(st.integers(2, 400), st.floats(0.1, 5))
def test_power_rises_with_shots_and_stays_a_probability(count: int, margin: float) -> None:
    few, more = (equivalence_power(n, margin, 1.0) for n in (count, count + 5))
    assert 0 <= few <= more + 1e-12 <= 1 + 1e-12


def test_shots_needed_rise_as_the_margin_narrows() -> None:
    needed = [shots_needed(margin, 1.0) for margin in (2, 1, 0.5, 0.25)]
    assert needed == sorted(needed, key=lambda n: n or 0)
    assert shots_needed(0.001, 1.0) is None


@pytest.mark.parametrize(
    ("first", "margins", "field"),
    [
        ([36.0], (-1, 1), "first"),
        ([36.0, float("nan")], (-1, 1), "first, value 2"),
        ([36.0, 36.0], (-1, 1), "spread"),
        ([36.0, 36.5], (1, -1), "low_margin"),
        ([36.0, 36.5], (-1, float("inf")), "high_margin"),
    ],
)
def test_bad_input_is_named(first: list[float], margins: tuple[float, float], field: str) -> None:
    with pytest.raises(BadValueError) as caught:
        equivalence(first, [36.0, 36.0], low_margin=margins[0], high_margin=margins[1])
    assert caught.value.field == field
