"""Weighing, flow-meter fits and uncertainty budgets against ISO 8655, statsmodels and GTC."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
import statsmodels.api as sm
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from stations.metrology.budget import volume_budget
from stations.metrology.flowmeter import Run, fit_flow_meter
from stations.metrology.fluid import air_density, buoyancy_share, volume_of
from stations.metrology.line import fit_line, fit_through_origin
from stations.metrology.outliers import curvature_p_value, most_suspect

SLOPE = 4.02


@pytest.mark.parametrize(
    ("celsius", "factor"), [(15, 1.0020), (20, 1.0029), (22, 1.0033), (25, 1.0040), (30, 1.0054)]
)
def test_gravimetric_z_factor(celsius: float, factor: float) -> None:
    # Z [µL/mg] of ISO 8655-6 / ISO TR 20461 at 1013.25 hPa; 1.0029 at 20 °C from memory, the
    # others computed with the formula of OIML R 111-1 and water by Tanaka 2001.
    z = volume_of(1, celsius, air_temperature=celsius)
    assert z == pytest.approx(factor, abs=1e-4)


@pytest.mark.parametrize("celsius", [5, 20, 40, 90])
@pytest.mark.parametrize("hectopascals", [1013.25, 770.0])
def test_volume_by_coolprop_and_the_weighing_equation(celsius: float, hectopascals: float) -> None:
    # m (1 - air/8000) / (water - air), water's density by CoolProp's IF97; references 2.6.
    water = PropsSI("D", "T", celsius + 273.15, "P", hectopascals * 100, "IF97::Water")
    air = (0.34848 * hectopascals - 0.009024 * 50 * math.exp(0.0612 * 20)) / 293.15
    expected = 70 * (1 - air / 8000) / (water - air) * 1000
    found = volume_of(70, celsius, pressure=hectopascals, air_temperature=20)
    assert found == pytest.approx(expected, rel=1e-9)


def test_air_density_by_hand() -> None:
    # Simplified CIPM formula at 20 °C, 1013.25 hPa, 50 %: 1.1994 kg/m³.
    expected = (0.34848 * 1013.25 - 0.009024 * 50 * math.exp(0.0612 * 20)) / 293.15
    assert air_density(20) == pytest.approx(expected, rel=1e-12)
    assert air_density(20) == pytest.approx(1.1994, abs=2e-4)


def test_buoyancy_is_a_tenth_of_a_percent() -> None:
    # 1.2/998.2 - 1.2/8000 = 0.00105.
    assert buoyancy_share(20) == pytest.approx(0.00105, abs=1e-5)
    assert buoyancy_share(20, 770) < buoyancy_share(20, 1013)


def test_a_known_slope_is_recovered_through_density_and_buoyancy() -> None:
    runs = [Run(SLOPE * volume_of(grams, 18), grams, 18) for grams in (25, 50, 75, 100)]
    fit = fit_flow_meter(runs)
    assert fit.pulses_per_millilitre == pytest.approx(SLOPE, rel=1e-12)
    assert fit.suspect is None


@given(st.integers(0, 10_000))
def test_suspect_run_is_that_of_statsmodels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = rng.uniform(20, 100, 8)
    y = SLOPE * x + rng.normal(0, 1, 8)
    table = sm.OLS(y, x).fit().get_influence().resid_studentized_external
    found = most_suspect(fit_through_origin(x, y), float(y.max()))
    assert found is not None
    place = int(np.abs(table).argmax())
    assert found.position == place + 1
    assert found.studentised == pytest.approx(table[place], rel=1e-6)
    p = min(1.0, 8 * 2 * float(stats.t.sf(abs(table[place]), 6)))
    assert found.p_value == pytest.approx(p, rel=1e-5)


@given(st.integers(0, 10_000))
def test_curvature_is_the_f_test_of_statsmodels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = rng.uniform(20, 100, 9)
    y = SLOPE * x + 0.002 * x**2 + rng.normal(0, 1, 9)
    columns = np.column_stack([np.ones(9), x, x**2])
    expected = float(sm.OLS(y, columns).fit().pvalues[2])
    assert curvature_p_value(x, y) == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_intercept_p_value_is_statsmodels() -> None:
    x = np.array([20.0, 35.0, 50.0, 80.0, 100.0])
    y = SLOPE * x + np.array([2.0, 3.0, 1.5, 2.5, 2.0])
    expected = sm.OLS(y, sm.add_constant(x)).fit().pvalues[0]
    assert fit_line(x, y).intercept_p_value == pytest.approx(float(expected), rel=1e-9)


def test_budget_is_gtc() -> None:
    # V = N/K + repeatability + quantisation, propagated by GTC.
    slope = GTC.ureal(SLOPE, 0.012, df=7)
    repeat = GTC.ureal(0, 0.25, df=7)
    pulse = GTC.ureal(0, 1 / SLOPE / math.sqrt(12))
    delivered = 70 * SLOPE / slope + repeat + pulse
    ours = volume_budget(70, SLOPE, slope_uncertainty=0.012, repeatability=0.25, dof=7)
    assert ours.combined == pytest.approx(delivered.u, rel=1e-9)
    assert ours.effective_dof == pytest.approx(delivered.df, rel=1e-9)
    assert ours.expanded == pytest.approx(2 * delivered.u, rel=1e-9)
    parts = [slope, repeat, pulse]
    shares = [(GTC.component(delivered, part) / delivered.u) ** 2 for part in parts]
    assert [line.share for line in ours.lines] == pytest.approx(shares, rel=1e-9)


def test_coverage_of_two_is_gum_table_g2() -> None:
    # JCGM 100:2008 table G.2: t for 95.45 % is 2.87 at 4 degrees of freedom, 2.00 at infinity.
    exact = volume_budget(70, SLOPE)
    assert exact.coverage == pytest.approx(0.9545, abs=5e-5)
    few = volume_budget(70, SLOPE, repeatability=100, dof=4)
    assert few.coverage == pytest.approx(0.8839, abs=5e-4)
