"""Capability indices against NIST/SEMATECH 6.1.6 and simulation of their intervals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from stations.metrology.capability import capability, capability_from


def test_nist_indices() -> None:
    # NIST/SEMATECH e-Handbook 6.1.6: USL 20, LSL 8, mean 16, s 2.
    both = capability_from(50, 16, 2, lower=8, upper=20)
    assert both.cp == pytest.approx(1.0, abs=5e-5)
    assert both.cpk == pytest.approx(0.6667, abs=5e-5)
    assert capability_from(50, 16, 2, lower=None, upper=20).cpk == pytest.approx(0.6667, abs=5e-5)
    assert capability_from(50, 16, 2, lower=8, upper=None).cpk == pytest.approx(1.3333, abs=5e-5)


def test_interval_of_cp_is_that_of_the_standard_deviation() -> None:
    # Cp √(χ²/(n-1)), computed here from the interval of a standard deviation.
    found = capability_from(25, 16, 2, lower=8, upper=20)
    dof = 24
    sigma_low = 2 * math.sqrt(dof / stats.chi2.isf(0.025, dof))
    sigma_high = 2 * math.sqrt(dof / stats.chi2.ppf(0.025, dof))
    assert found.cp_interval == pytest.approx((12 / 6 / sigma_high, 12 / 6 / sigma_low), rel=1e-12)


def test_interval_of_cpk_by_hand() -> None:
    # Bissell 1990 as NIST/SEMATECH 6.1.6 gives it (from memory): n 50, Cpk 2/3.
    low, high = capability_from(50, 16, 2, lower=8, upper=20).cpk_interval
    half = 1.959963984540054 * math.sqrt(1 / 450 + (4 / 9) / 98)
    assert (low, high) == pytest.approx((2 / 3 - half, 2 / 3 + half), abs=1e-12)


@pytest.mark.parametrize("shots", [25, 100])
def test_intervals_cover_the_true_value_about_as_often_as_they_say(shots: int) -> None:
    rng = np.random.default_rng(11)
    trials = rng.normal(0.5, 1.0, (2000, shots))
    found = [capability(row, lower=-4, upper=4) for row in trials]
    cpk = np.mean([one.cpk_interval[0] <= 3.5 / 3 <= one.cpk_interval[1] for one in found])
    cp = np.mean([i[0] <= 4 / 3 <= i[1] for i in (one.cp_interval for one in found) if i])
    assert cpk == pytest.approx(0.95, abs=0.025)
    assert cp == pytest.approx(0.95, abs=0.02)
