"""Yield: units cancel, uncertainty only grows, and a bad value is named."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.brewing.errors import QuantityError
from recipes.brewing.extraction import Measured, dry_basis, extraction_yield

grams = st.floats(1.0, 500.0)
share = st.floats(0.0, 0.2)


@given(grams, grams, st.floats(0.1, 30.0), st.floats(0.001, 1000.0), share)
def test_mass_units_cancel(
    dose: float, beverage: float, tds: float, unit: float, rel: float
) -> None:
    one = extraction_yield(
        Measured(dose, dose * rel), Measured(beverage, 0.0), Measured(tds, tds * rel)
    )
    if min(dose, beverage) * unit >= 1e-3 and max(dose, beverage) * unit <= 1e5:
        other = extraction_yield(
            Measured(dose * unit, dose * unit * rel),
            Measured(beverage * unit, 0.0),
            Measured(tds, tds * rel),
        )
        assert other.percent == pytest.approx(one.percent, rel=1e-9)
        assert other.u == pytest.approx(one.u, rel=1e-9, abs=1e-12)


@given(grams, grams, st.floats(0.1, 30.0), share, share)
def test_more_doubt_in_means_more_doubt_out(
    dose: float, beverage: float, tds: float, less: float, more: float
) -> None:
    less, more = sorted((less, more))
    u = [
        extraction_yield(Measured(dose, dose * rel), Measured(beverage), Measured(tds)).u
        for rel in (less, more)
    ]
    assert u[0] <= u[1]
    assert all(math.isfinite(one) for one in u)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0, 0.0, "18", None, True])
@pytest.mark.parametrize("field", ["dose", "beverage", "tds"])
def test_a_bad_value_is_named(field: str, bad: float) -> None:
    values = {"dose": Measured(18.0), "beverage": Measured(36.0), "tds": Measured(9.8)}
    with pytest.raises(QuantityError) as caught:
        extraction_yield(**{**values, field: Measured(bad)})
    assert caught.value.field == field


@pytest.mark.parametrize("bad", [math.nan, -0.1, 37.0])
def test_a_bad_uncertainty_is_named(bad: float) -> None:
    with pytest.raises(QuantityError, match="beverage uncertainty"):
        extraction_yield(Measured(18.0), Measured(36.0, bad), Measured(9.8))


def test_a_bad_moisture_is_named() -> None:
    with pytest.raises(QuantityError, match="moisture"):
        dry_basis(19.6, 100.0)
