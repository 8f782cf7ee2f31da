"""Equivalence of two stations against published TOST results and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.weightstats import ttost_ind

from stations.metrology.equivalence import (
    Sample,
    equivalence,
    equivalence_from,
    equivalence_power,
    ratio_equivalence,
    shots_needed,
)
from tests.references.metrology_data import rows

FIRST, SECOND = Sample(95, 5.25, 0.95), Sample(89, 5.22, 0.83)


def clinic() -> tuple[list[float], list[float]]:
    """Return var1 of groups 1 and 2."""
    table = rows("tost_clinic_statsmodels.csv")
    one, two = ([float(r["var1"]) for r in table if r["group"] == g] for g in ("1", "2"))
    return one, two


def test_lakens_raw_bounds() -> None:
    # Lakens 2017, data of Moery & Calin-Jageman; Lakens/TOSTER test-known_results.R @069b601.
    found = equivalence_from(FIRST, SECOND, low_margin=-0.384, high_margin=0.384)
    assert found.t_low == pytest.approx(3.153015, abs=1e-6)
    assert found.p_low == pytest.approx(0.0009458745, abs=1e-9)
    assert found.t_high == pytest.approx(-2.696056, abs=1e-6)
    assert found.p_high == pytest.approx(0.003838994, abs=1e-9)
    assert found.dof == pytest.approx(181.1344, abs=1e-4)
    assert found.interval == pytest.approx((-0.1870843, 0.2470843), abs=1e-6)
    assert found.interval_at(0.95) == pytest.approx((-0.2290799, 0.2890799), abs=1e-6)
    assert found.conclusion == "equivalent"


def test_lakens_standardised_bounds() -> None:
    # The same file: d = ±0.43 with the root of the average variance, 0.8920202.
    bound = 0.43 * np.sqrt((0.95**2 + 0.83**2) / 2)
    assert bound == pytest.approx(0.3835687, abs=1e-7)
    found = equivalence_from(FIRST, SECOND, low_margin=-bound, high_margin=bound)
    assert found.t_low == pytest.approx(3.14973, abs=1e-5)
    assert found.t_high == pytest.approx(-2.692771, abs=1e-6)
    assert found.p_value == pytest.approx(0.003875522, abs=1e-9)


def test_welch_on_raw_data() -> None:
    # statsmodels 0.15.0 test_tost.py, results of R equivalence::tost.
    one, two = clinic()
    found = equivalence(one, two, low_margin=-0.6, high_margin=0.6)
    assert found.difference == pytest.approx(0.1646666667, abs=1e-9)
    assert found.standard_error == pytest.approx(0.2531625991, abs=1e-9)
    assert found.dof == pytest.approx(26.7484787582, abs=1e-9)
    assert found.p_value == pytest.approx(0.0485308398, abs=1e-9)
    assert found.interval == pytest.approx((-0.2666862981, 0.5960196314), abs=1e-9)


def test_welch_is_statsmodels() -> None:
    one, two = clinic()
    p, low, high = ttost_ind(one, two, -0.5, 0.7, usevar="unequal")
    found = equivalence(one, two, low_margin=-0.5, high_margin=0.7)
    assert found.p_value == pytest.approx(p, rel=1e-9)
    assert (found.t_low, found.p_low) == pytest.approx(low[:2], rel=1e-9)
    assert (found.t_high, found.p_high) == pytest.approx(high[:2], rel=1e-9)


def test_ratio_on_logarithms() -> None:
    # statsmodels 0.15.0 test_tost.py: ratio bounds 0.80 to 1.25, unpaired, unequal variances.
    one, two = clinic()
    assert ratio_equivalence(one, two).p_value == pytest.approx(0.0104708559, abs=1e-9)


def test_shots_needed_for_equal_stations() -> None:
    # Margin half a standard deviation, 5 %, power 0.80: 70 by noncentral t (normal
    # approximation 68.511, 69). Computed with scipy.
    assert shots_needed(0.5, 1.0) == 70
    assert equivalence_power(70, 0.5, 1.0) == pytest.approx(0.80593, abs=1e-5)
    assert equivalence_power(69, 0.5, 1.0) == pytest.approx(0.79851, abs=1e-5)
    z = stats.norm.ppf([0.95, 0.90])
    assert 2 * (z.sum() / 0.5) ** 2 == pytest.approx(68.511, abs=1e-3)


def test_power_by_simulation() -> None:
    rng = np.random.default_rng(3)
    shown = 0
    for _ in range(2000):
        one, two = rng.normal(0, 1, 20), rng.normal(0, 1, 20)
        found = equivalence(one, two, low_margin=-1.0, high_margin=1.0)
        shown += found.conclusion == "equivalent"
    assert shown / 2000 == pytest.approx(equivalence_power(20, 1.0, 1.0), abs=0.03)
