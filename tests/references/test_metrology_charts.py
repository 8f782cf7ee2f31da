"""Control charts against NIST/SEMATECH worked examples and computed chart constants."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.tsa.holtwinters import SimpleExpSmoothing

from stations.metrology import charts
from stations.metrology.charts import (
    Baseline,
    cusum_chart,
    ewma_chart,
    freeze_baseline,
    individuals_chart,
    moving_range_chart,
)
from tests.references.metrology_data import column, rows

FLOW = column("nist_6.3.2.2_individuals.csv", "flowrate")


def test_constants_for_ranges_of_two() -> None:
    # Computed with mpmath and scipy's dblquad, to 8 decimals. Printed tables give E2 2.660 and
    # D4 3.267, which are 3/1.128 and its like.
    row = rows("control_chart_constants.csv")[0]
    assert row["n"] == "2"
    assert pytest.approx(float(row["d2"]), abs=5e-9) == charts.D2_OF_TWO
    assert pytest.approx(float(row["d3"]), abs=5e-9) == charts.D3_OF_TWO
    assert pytest.approx(float(row["D4"]), abs=5e-8) == charts.RANGE_FACTOR
    assert pytest.approx(float(row["E2"]), abs=5e-8) == 3 / charts.D2_OF_TWO


def test_nist_individuals() -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.2. It prints limits with d2 = 1.128.
    baseline = freeze_baseline(FLOW)
    assert baseline.centre == pytest.approx(50.81, abs=5e-5)
    assert baseline.mean_range == pytest.approx(1.8778, abs=5e-5)
    printed = 3 * baseline.mean_range / 1.128
    assert baseline.centre + printed == pytest.approx(55.8041, abs=5e-5)
    assert baseline.centre - printed == pytest.approx(45.8159, abs=5e-5)


def test_nist_individuals_with_exact_constants() -> None:
    # The same data with d2 = 2/√π, computed.
    chart = individuals_chart(FLOW, freeze_baseline(FLOW))
    assert chart.upper[0] == pytest.approx(55.80241, abs=5e-6)
    assert chart.lower[0] == pytest.approx(45.81759, abs=5e-6)
    assert chart.signals == []


def test_nist_moving_ranges() -> None:
    # Ranges as printed; limit 3.267 MR̄ = 6.1347 there, 3.26653 MR̄ here.
    chart = moving_range_chart(FLOW, freeze_baseline(FLOW))
    assert chart.plotted == pytest.approx([2.0, 2.3, 1.4, 3.5, 3.4, 1.4, 0.2, 1.2, 1.5], abs=1e-9)
    assert chart.upper[0] == pytest.approx(6.1347, abs=2e-3)
    assert chart.lower[0] == 0.0


def test_nist_ewma() -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.4: λ 0.3, start 50, s 2.0539, L 3; it rounds the factor to
    # 0.4201 and prints 47.4115 and 52.5884.
    values = column("nist_6.3.2.4_ewma.csv", "x")
    printed = column("nist_6.3.2.4_ewma.csv", "ewma_printed")[1:]
    baseline = Baseline(centre=50.0, sigma=2.0539, count=20, mean_range=2.0)
    chart = ewma_chart(values, baseline, weight=0.3)
    assert chart.plotted == pytest.approx(printed, abs=0.005)
    assert chart.upper[0] == pytest.approx(52.5884, abs=1e-4)
    assert chart.lower[0] == pytest.approx(47.4115, abs=1e-4)
    assert chart.signals == []


def test_ewma_computed_to_ten_places() -> None:
    values = column("nist_6.3.2.4_ewma.csv", "x")
    computed = column("nist_6.3.2.4_ewma.csv", "ewma_computed")[1:]
    chart = ewma_chart(values, Baseline(50.0, 2.0539, 20, 2.0), weight=0.3)
    assert chart.plotted == pytest.approx(computed, abs=1e-10)


def test_ewma_is_the_exponential_smoothing_of_statsmodels() -> None:
    # statsmodels 0.15 SimpleExpSmoothing with its level begun at the baseline's centre.
    values = column("nist_6.3.2.4_ewma.csv", "x")
    for weight in (0.1, 0.2, 0.3, 0.9):
        model = SimpleExpSmoothing(values, initialization_method="known", initial_level=50.0)
        other = model.fit(smoothing_level=weight, optimized=False).level
        chart = ewma_chart(values, Baseline(50.0, 2.0539, 20, 2.0), weight=weight)
        assert chart.plotted == pytest.approx(other, rel=1e-12)


def test_early_ewma_limits_are_narrower() -> None:
    # s² λ/(2-λ) (1 - (1-λ)^2i): at i = 1 that is (λ s)² (definition).
    chart = ewma_chart([50.0] * 60, Baseline(50.0, 2.0, 20, 2.0), weight=0.3, settled=False)
    assert chart.upper[0] == pytest.approx(50 + 3 * 0.3 * 2.0, abs=1e-9)
    assert chart.upper[-1] == pytest.approx(50 + 6 * math.sqrt(0.3 / 1.7), abs=1e-8)


def test_nist_cusum() -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959; first signal at group 14.
    table = rows("nist_6.3.2.3_cusum.csv")
    values = [float(row["x"]) for row in table]
    chart = cusum_chart(values, target=325, allowance=0.3175, decision=4.1959)
    assert chart.high == pytest.approx([float(row["S_hi"]) for row in table], abs=1e-9)
    assert chart.low == pytest.approx([float(row["S_lo"]) for row in table], abs=1e-9)
    assert chart.high == pytest.approx([float(row["pub_Shi"]) for row in table], abs=0.0051)
    assert chart.signals == [14, 15, 16, 17, 18, 19, 20]


def test_false_alarms_come_every_370_shots() -> None:
    # 1/0.0026998 = 370.40; NIST/SEMATECH 6.3.2 says "approximately 371".
    assert 1 / (2 * stats.norm.sf(charts.WIDTH)) == pytest.approx(370.40, abs=0.01)
    shots = np.random.default_rng(5).normal(0, 1, 2_000_000)
    beyond = individuals_chart(shots, Baseline(0.0, 1.0, 20, 1.0)).beyond.mean()
    assert 1 / beyond == pytest.approx(370.4, rel=0.05)


def test_nist_moving_ranges_do_not_bridge_a_left_out_value() -> None:
    # The data of NIST/SEMATECH e-Handbook 6.3.2.2 without its fifth value (47.8): of its printed
    # ranges 2.0 2.3 1.4 and 1.4 0.2 1.2 1.5 remain, which make 10.0 / 7. By hand; that the ranges
    # beside a missing value are missing is common practice, no source.
    left = [value for at, value in enumerate(FLOW) if at != 4]
    baseline = freeze_baseline(left, gaps=[5])
    assert baseline.mean_range == pytest.approx(10.0 / 7, abs=1e-9)
    chart = moving_range_chart(left, baseline, gaps=[5])
    assert chart.plotted == pytest.approx([2.0, 2.3, 1.4, 1.4, 0.2, 1.2, 1.5], abs=1e-9)
    assert charts.range_places(len(left), [5]) == [2, 3, 4, 6, 7, 8, 9]
    # Bridged, |51.3 - 51.2| = 0.1 would have counted as one more.
    assert freeze_baseline(left).mean_range == pytest.approx(10.1 / 8, abs=1e-9)
