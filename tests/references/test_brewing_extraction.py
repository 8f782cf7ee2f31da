"""Yield, its uncertainty and the water balance against references section 6 and GTC."""

import pytest
from GTC import ureal

from recipes.brewing.balance import ASSUMED, Retention, forecast_beverage, water_for
from recipes.brewing.extraction import Measured, dry_basis, extraction_yield


def test_yield_and_its_uncertainty() -> None:
    # references 6.2: 18.0 +- 0.1 g, 36.0 +- 0.1 g, 9.80 +- 0.05 % (computed there)
    made = extraction_yield(Measured(18.0, 0.1), Measured(36.0, 0.1), Measured(9.80, 0.05))
    assert made.percent == pytest.approx(19.60, abs=1e-12)
    assert made.u == pytest.approx(0.158, abs=5e-4)
    assert made.expanded() == pytest.approx(0.315, abs=5e-4)
    assert sum(made.shares) == pytest.approx(1.0)


def test_gtc_propagates_the_same() -> None:
    # GTC 1.5 (MSLNZ), a general library for the GUM
    theirs = ureal(36.2, 0.13) * ureal(8.95, 0.04) / ureal(18.4, 0.07)
    made = extraction_yield(Measured(18.4, 0.07), Measured(36.2, 0.13), Measured(8.95, 0.04))
    assert made.percent == pytest.approx(theirs.x, rel=1e-12)
    assert made.u == pytest.approx(theirs.u, rel=1e-9)


def test_dry_dose_basis() -> None:
    # references 6.3
    assert dry_basis(19.60, 2.0) == pytest.approx(20.00, abs=5e-3)


def test_drip_balance_of_the_trade_page() -> None:
    # references 6.6: 15 g, 250 g of water, 2 g/g kept: 220 g (computed there)
    drip = Retention(2.0, 2.0, 2.0, 0.0, used=10)
    made = forecast_beverage(drip, dose=15.0, water=250.0, density=1000.0)
    assert made.mass == pytest.approx(220.0, abs=1e-9)
    assert water_for(drip, dose=15.0, beverage=220.0, density=1000.0) == pytest.approx(250.0)


def test_assumed_espresso_retention() -> None:
    # references 6.7: about 1 g/g (0.8 to 1.3): common practice, no source
    assert (ASSUMED.ratio, ASSUMED.low, ASSUMED.high, ASSUMED.learnt) == (1.0, 0.8, 1.3, False)
