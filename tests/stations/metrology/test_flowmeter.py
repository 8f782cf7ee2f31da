"""A technician's calibration: what the fit finds, names and says."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stations.metrology.errors import BadValueError
from stations.metrology.flowmeter import FlowMeterFit, Run, concerns, fit_flow_meter
from stations.metrology.fluid import density

SLOPE = 4.0
GRAMS = [25.0, 40.0, 55.0, 70.0, 85.0, 100.0]
NOISE = [0.6, -0.8, 0.3, -0.4, 0.7, -0.5]


def runs(
    *, intercept: float = 0.0, bend: float = 0.0, odd: int | None = None, count: int = 6
) -> list[Run]:
    """Return runs at 20 °C near a known line, one of them ten pulses off if asked."""
    found = []
    for place, (grams, noise) in enumerate(zip(GRAMS[:count], NOISE, strict=False)):
        volume = grams / density(20) * 1000 * 1.00105
        extra = 10.0 if place + 1 == odd else 0.0
        pulses = SLOPE * volume + intercept + bend * volume**2 + noise + extra
        found.append(Run(pulses, grams, 20))
    return found


def fit(**bent: float | None) -> FlowMeterFit:
    """Return the fit of `runs`."""
    return fit_flow_meter(runs(**bent))  # type: ignore[arg-type]


def test_a_good_calibration_has_nothing_to_say() -> None:
    good = fit()
    assert good.pulses_per_millilitre == pytest.approx(SLOPE, rel=2e-3)
    assert abs(good.pulses_per_millilitre - SLOPE) < 2 * good.expanded
    assert good.dof == 5
    assert good.outlier is None
    assert concerns(good) == []


def test_repeatability_is_the_spread_as_volume() -> None:
    good = fit()
    assert good.repeatability == pytest.approx(good.spread / good.pulses_per_millilitre)


@pytest.mark.parametrize("odd", [1, 3, 6])
def test_the_odd_run_is_named(odd: int) -> None:
    found = fit(odd=odd)
    assert found.outlier == odd
    assert concerns(found)[0].startswith(f"Run {odd} does not fit the others: +")


def test_a_line_that_misses_zero_is_told() -> None:
    found = fit(intercept=8.0)
    assert found.intercept == pytest.approx(8.0, abs=2.0)
    assert any("misses zero by +" in sentence for sentence in concerns(found))


def test_a_meter_that_bends_is_told() -> None:
    found = fit(bend=0.004)
    assert found.curvature_p_value is not None
    assert found.curvature_p_value < 0.01
    assert any("straight line" in sentence for sentence in concerns(found))


def test_runs_of_one_volume_cannot_tell_the_intercept() -> None:
    same = [Run(280 + n, 70, 20) for n in (0, 1, -1, 0, 1)]
    found = fit_flow_meter(same)
    assert found.intercept is None
    assert found.curvature_p_value is None
    assert "Add runs of half and of double" in concerns(found)[0]


def test_few_runs_say_what_k_they_need() -> None:
    # Student's t, 2 degrees of freedom, 95 %: 4.303 (any table).
    assert "95 % needs k = 4.3, not 2" in concerns(fit(count=3))[-1]


def test_pulses_that_fit_exactly_have_no_suspect() -> None:
    found = fit_flow_meter([Run(4 * grams, grams, 20) for grams in (20, 40, 80)])
    assert found.suspect is None
    assert found.intercept_p_value is not None


def test_what_is_common_to_all_runs_adds_in_quadrature() -> None:
    shared = fit_flow_meter(runs(), relative_uncertainty=0.01)
    alone = fit_flow_meter(runs())
    expected = (alone.uncertainty**2 + (0.01 * alone.pulses_per_millilitre) ** 2) ** 0.5
    assert shared.uncertainty == pytest.approx(expected, rel=1e-12)


def test_stored_numbers_are_decimals_of_six_places() -> None:
    stored = fit().stored()
    assert all(isinstance(value, Decimal) for value in stored)
    assert {value.as_tuple().exponent for value in stored} == {-6}


def test_the_band_holds_the_runs() -> None:
    good = fit()
    for volume, pulses in zip(good.volumes, good.pulses, strict=True):
        middle, low, high = good.band(volume)
        assert low < middle < high
        assert low <= pulses <= high


@given(st.permutations(range(6)))
def test_the_order_of_runs_does_not_matter(order: list[int]) -> None:
    shuffled = fit_flow_meter([runs()[place] for place in order])
    assert shuffled.pulses_per_millilitre == pytest.approx(fit().pulses_per_millilitre, rel=1e-12)
    assert shuffled.uncertainty == pytest.approx(fit().uncertainty, rel=1e-9)


@given(st.floats(0.1, 10))
def test_a_meter_of_twice_the_pulses_has_twice_the_slope(factor: float) -> None:
    scaled = fit_flow_meter([Run(float(r.pulses) * factor, r.grams, 20) for r in runs()])
    assert scaled.pulses_per_millilitre == pytest.approx(
        factor * fit().pulses_per_millilitre, rel=1e-9
    )
    assert scaled.repeatability == pytest.approx(fit().repeatability, rel=1e-6)


def test_warmer_water_means_more_volume_and_fewer_pulses_per_millilitre() -> None:
    slopes = [
        fit_flow_meter([Run(r.pulses, r.grams, t) for r in runs()]).pulses_per_millilitre
        for t in (10, 20, 40, 60)
    ]
    assert slopes == sorted(slopes, reverse=True)
    assert np.ptp(slopes) / slopes[0] == pytest.approx(0.0165, abs=1e-3)


@pytest.mark.parametrize(
    ("place", "bad", "field"),
    [
        (0, Run(0, 50, 20), "run 1 pulses"),
        (1, Run(200, -1, 20), "run 2 grams"),
        (2, Run(200, 50, 101), "run 3 temperature"),
        (2, Run(200, 50, -1), "run 3 temperature"),
        (3, Run(float("nan"), 50, 20), "run 4 pulses"),
        (4, Run(200, float("inf"), 20), "run 5 grams"),
        (5, Run("200", 50, 20), "run 6 pulses"),  # type: ignore[arg-type]
    ],
)
def test_a_bad_run_is_named(place: int, bad: Run, field: str) -> None:
    entered = runs()
    entered[place] = bad
    with pytest.raises(BadValueError) as caught:
        fit_flow_meter(entered)
    assert caught.value.field == field
    assert field in str(caught.value)


def test_two_runs_are_too_few() -> None:
    with pytest.raises(BadValueError, match="at least 3"):
        fit_flow_meter(runs(count=2))
