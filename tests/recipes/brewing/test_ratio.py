"""Brew ratio and yield: exact, rounded once, and never from a bad value."""

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.brewing.errors import QuantityError
from recipes.brewing.ratio import brew_ratio, extraction_yield, half_up, printed_ratio

masses = st.decimals("0.1", "500", places=2)


def test_a_double_of_18_in_36_out_reads_one_to_two() -> None:
    ratio = brew_ratio(Decimal("18.0"), Decimal("36.0"))
    assert (str(ratio), printed_ratio(ratio)) == ("2.0", "1 : 2.0")


def test_a_tie_rounds_half_up_not_half_even() -> None:
    assert brew_ratio(Decimal(20), Decimal(41)) == Decimal("2.1")  # 2.05
    assert brew_ratio(Decimal(20), Decimal(43)) == Decimal("2.2")  # 2.15


def test_rounding_happens_once() -> None:
    # 0.05 less one part in 10^40: a 28-digit quotient would first round up to 0.05, then to 0.1.
    assert half_up(Fraction(1, 20) - Fraction(1, 10**40), 1) == Decimal("0.0")


@given(dose=masses, beverage=masses)
def test_ratio_agrees_with_decimal_half_up(dose: Decimal, beverage: Decimal) -> None:
    want = (beverage / dose).quantize(Decimal("0.1"), rounding=ROUND_HALF_UP)
    assert brew_ratio(dose, beverage) == want


@given(dose=masses, beverage=masses, scale=st.integers(1, 100))
def test_ratio_does_not_depend_on_the_unit(dose: Decimal, beverage: Decimal, scale: int) -> None:
    assert brew_ratio(dose * scale, beverage * scale) == brew_ratio(dose, beverage)


@pytest.mark.parametrize(
    "bad",
    [
        Decimal("NaN"),
        Decimal("Infinity"),
        Decimal("-1"),
        0,
        1.5,
        True,
        "18",
        None,
        Decimal("1E+999999"),
        Decimal("1E-999999"),
    ],
)
@pytest.mark.parametrize("field", ["dose", "beverage"])
def test_a_bad_mass_is_named(field: str, bad: object) -> None:
    values = {"dose": Decimal(18), "beverage": Decimal(36), field: bad}
    with pytest.raises(QuantityError) as caught:
        brew_ratio(**values)  # type: ignore[arg-type]
    assert caught.value.field == field
    assert caught.value.value is bad
    assert field in str(caught.value)


@pytest.mark.parametrize("bad", [Decimal("-0.1"), Decimal("100.1"), Decimal("sNaN"), 9.8])
def test_a_bad_strength_is_named(bad: object) -> None:
    with pytest.raises(QuantityError, match="tds"):
        extraction_yield(18, 36, bad)  # type: ignore[arg-type]
