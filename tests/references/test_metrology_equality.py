"""Bars against the recipe's target: published one-sample TOST results, and statsmodels."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import DescrStatsW

from stations.metrology.equality import Bars, against_target, holm
from stations.metrology.equivalence import Sample
from stations.metrology.errors import BadValueError


def test_one_sample_raw_bounds() -> None:
    # Lakens/TOSTER tests/testthat/test-known_results.R @03aae316, TOSTone.raw.
    found = against_target(Sample(300, 0.52, 0.5), 0.5, below=0.1, above=0.1)
    assert found.difference == pytest.approx(0.02)
    assert found.t_low == pytest.approx(4.156922, abs=1e-6)
    assert found.p_low == pytest.approx(0.00002108451, abs=1e-10)
    assert found.t_high == pytest.approx(-2.771281, abs=1e-6)
    assert found.p_high == pytest.approx(0.002966762, abs=1e-9)
    assert found.interval == pytest.approx((-0.02763041, 0.06763041), abs=1e-8)


def test_one_sample_standardised_bounds() -> None:
    # The same file, TOSTone: bounds of 0.3 standard deviations, 0.36.
    found = against_target(Sample(100, 0.54, 1.2), 0.5, below=0.36, above=0.36)
    assert (found.t_low, found.t_high) == pytest.approx((3.333333, -2.666667), abs=1e-6)
    assert found.p_low == pytest.approx(0.0006040021, abs=1e-10)
    assert found.p_high == pytest.approx(0.004474619, abs=1e-9)
    assert found.interval == pytest.approx((-0.1592469, 0.2392469), abs=1e-7)


@pytest.mark.parametrize("seed", range(5))
def test_it_is_statsmodels_and_scipy(seed: int) -> None:
    shots = np.random.default_rng(seed).normal(36.8, 0.9, 12)
    sample = Sample(12, float(shots.mean()), float(shots.std(ddof=1)))
    found = against_target(sample, 36, below=2, above=1.5)
    p, (_, p_low, _), (_, p_high, _) = DescrStatsW(shots).ttost_mean(34, 37.5)
    assert (found.p_value, found.p_low, found.p_high) == pytest.approx((p, p_low, p_high))
    beyond = stats.ttest_1samp(shots, 37.5, alternative="greater").pvalue
    short = stats.ttest_1samp(shots, 34, alternative="less").pvalue
    assert found.p_other == pytest.approx(min(1, 2 * min(beyond, short)))


@pytest.mark.parametrize("seed", range(5))
def test_holm_is_statsmodels(seed: int) -> None:
    given = np.random.default_rng(seed).uniform(0, 0.2, 9)
    assert holm(given) == pytest.approx(multipletests(given, method="holm")[1])


def test_holm_by_hand() -> None:
    # Holm 1979: the smallest against risk/4, the next against risk/3, and so on until one stands.
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([]) == []


def test_the_bars_that_differ_are_named() -> None:
    samples = {"on target": Sample(40, 36.1, 0.6), "six over": Sample(40, 42.0, 0.6),
               "few": Sample(2, 36.9, 1.5), "at the limit": Sample(40, 38.0, 0.6)}  # fmt: skip
    tests = {name: against_target(each, 36, below=2, above=2) for name, each in samples.items()}
    bars = Bars(tests)
    assert bars.who("pours the recipe") == ["on target"]
    assert bars.who("differs") == ["six over"]
    assert set(bars.who("not shown yet")) == {"few", "at the limit"}


@pytest.mark.parametrize(
    ("sample", "below"), [(Sample(1, 36, 1), 2), (Sample(9, 36, 0), 2), (Sample(9, 36, 1), 0)]
)
def test_what_cannot_be_tested_is_refused(sample: Sample, below: float) -> None:
    with pytest.raises(BadValueError):
        against_target(sample, 36, below=below, above=2)
