"""Straight-line fits against NIST StRD, the GUM's worked example H.3, statsmodels and GTC."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from GTC import ta

from stations.metrology.line import StraightLine, fit_line, fit_through_origin
from tests.references.metrology_data import norris

# JCGM 100:2008 H.3, thermometer readings [°C] and corrections [°C], about 20 °C.
READINGS = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTIONS = -np.array(
    [0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160]
)


@pytest.fixture(scope="module")
def norris_line() -> StraightLine:
    x, y = norris()
    return fit_line(np.array(x), np.array(y))


def test_norris_certified_values(norris_line: StraightLine) -> None:
    # NIST StRD Norris, certified values as carried in the scipy wheel.
    assert len(norris()[0]) == 36
    assert norris_line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert norris_line.intercept_uncertainty == pytest.approx(0.232818234301152, rel=1e-9)
    assert norris_line.slope == pytest.approx(1.00211681802045, rel=1e-9)
    assert norris_line.slope_uncertainty == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert norris_line.spread == pytest.approx(0.884796396144373, rel=1e-9)
    assert norris_line.r_squared == pytest.approx(0.999993745883712, rel=1e-9)
    assert norris_line.spread**2 * norris_line.dof == pytest.approx(26.6173985294224, rel=1e-9)
    f = (norris_line.slope / norris_line.slope_uncertainty) ** 2
    assert f == pytest.approx(5436385.54079785, rel=1e-9)


def test_norris_intervals(norris_line: StraightLine) -> None:
    # Computed with scipy and statsmodels.
    t = norris_line.factor(0.95)
    half = t * norris_line.slope_uncertainty
    assert t == pytest.approx(2.0322445093, abs=1e-9)
    assert norris_line.slope - half == pytest.approx(1.0012433657, abs=1e-9)
    assert norris_line.slope + half == pytest.approx(1.0029902703, abs=1e-9)
    assert norris_line.at(500) == pytest.approx(500.7960859365, abs=1e-7)
    assert norris_line.uncertainty_at(500) == pytest.approx(0.1515021758, abs=1e-7)
    assert norris_line.prediction_uncertainty_at(500) == pytest.approx(0.8976734216, abs=1e-7)
    mean = t * norris_line.uncertainty_at(500)
    assert norris_line.at(500) - mean == pytest.approx(500.48819647, abs=1e-7)
    assert norris_line.at(500) + mean == pytest.approx(501.10397540, abs=1e-7)
    single = t * norris_line.prediction_uncertainty_at(500)
    assert norris_line.at(500) - single == pytest.approx(498.97179405, abs=1e-7)
    assert norris_line.at(500) + single == pytest.approx(502.62037782, abs=1e-7)


def test_norris_prediction_is_statsmodels(norris_line: StraightLine) -> None:
    x, y = norris()
    other = sm.OLS(y, sm.add_constant(x)).fit().get_prediction([[1.0, 500.0]])
    low, high = other.conf_int(obs=True)[0]
    half = norris_line.factor() * norris_line.prediction_uncertainty_at(500)
    assert norris_line.at(500) - half == pytest.approx(low, abs=1e-7)
    assert norris_line.at(500) + half == pytest.approx(high, abs=1e-7)


def test_gum_h3_thermometer() -> None:
    # JCGM 100:2008 H.3 as printed in the GTC documentation: to the last printed digit.
    line = fit_line(READINGS - 20.0, CORRECTIONS)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.intercept_uncertainty == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.slope_uncertainty == pytest.approx(0.00067, abs=5e-6)
    assert line.spread == pytest.approx(0.0035, abs=5e-5)
    r = line.covariance / line.intercept_uncertainty / line.slope_uncertainty
    assert r == pytest.approx(-0.930, abs=5e-4)
    assert line.at(10) == pytest.approx(-0.1494, abs=5e-5)
    assert line.uncertainty_at(10) == pytest.approx(0.0041, abs=5e-5)
    assert line.dof == 9


def test_gum_h3_is_gtc() -> None:
    a, b = ta.line_fit(READINGS - 20.0, CORRECTIONS).a_b
    line = fit_line(READINGS - 20.0, CORRECTIONS)
    there = a + b * 10.0
    assert line.at(10) == pytest.approx(there.x, rel=1e-9)
    assert line.uncertainty_at(10) == pytest.approx(there.u, rel=1e-9)


def test_the_covariance_matters() -> None:
    # Without it u(b(30 °C)) would come out as 0.00727 instead of 0.00414.
    line = fit_line(READINGS - 20.0, CORRECTIONS)
    without = math.hypot(line.intercept_uncertainty, 10 * line.slope_uncertainty)
    assert without == pytest.approx(0.00727, abs=5e-6)
    assert line.uncertainty_at(10) == pytest.approx(0.00414, abs=5e-6)


def test_line_through_the_origin_is_statsmodels() -> None:
    x, y = norris()
    ours = fit_through_origin(np.array(x), np.array(y))
    other = sm.OLS(y, x).fit()
    assert ours.slope == pytest.approx(other.params[0], rel=1e-12)
    assert ours.slope_uncertainty == pytest.approx(other.bse[0], rel=1e-10)
    assert ours.r_squared == pytest.approx(other.rsquared, rel=1e-12)
    assert ours.dof == other.df_resid
