"""°F and oz beside °C and g: exact, the same digits back, and never a 32 in a difference."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.formula.formula import target_bounds, width_bounds
from recipes.formula.parameters import PARAMETERS
from stations.equipment.bounds import OFFSET
from web import printing, units
from web.checks import Checks, outside
from web.drawn import quantity
from web.fields import PlainDecimalField
from web.numbers import BadNumber, Bounds, bounds_in, read_entered, read_number
from web.printing import unit_label
from web.units import (
    CELSIUS,
    FAHRENHEIT,
    GRAM,
    METRIC,
    OUNCE,
    STEP,
    TYPED,
    Choice,
    other,
    places_of,
    read_by,
)

WARM = Bounds(Decimal(80), Decimal(100), places=6, unit=CELSIUS)
WIDTH = Bounds(Decimal(0), Decimal(20), places=6, unit=CELSIUS + STEP)
DOSE = Bounds(Decimal("0.1"), Decimal(1000), places=2, unit=GRAM)
FREE = Bounds(unit=CELSIUS, places=6)
AMERICAN = Choice(FAHRENHEIT, OUNCE)
BOTH = Choice(FAHRENHEIT, OUNCE, temperature_beside=True, mass_beside=True)


def digits(places: int, low: int, high: int) -> st.SearchStrategy[Decimal]:
    return st.decimals(low, high, places=places, allow_nan=False, allow_infinity=False)


celsius = st.integers(0, 4).flatmap(lambda places: digits(places, -20, 130))
fahrenheit = st.integers(0, 4).flatmap(lambda places: digits(places, -20, 280))
grams = st.integers(0, 4).flatmap(lambda places: digits(places, 0, 5000))
ounces = st.integers(0, 4).flatmap(lambda places: digits(places, 0, 200))
temperatures = st.sampled_from([FAHRENHEIT, FAHRENHEIT + STEP])


@given(fahrenheit, temperatures)
def test_a_typed_fahrenheit_comes_back_as_it_was_typed(typed: Decimal, unit: str) -> None:
    kept = units.stored(typed, unit)
    exact = (Fraction(typed) - (32 if unit == FAHRENHEIT else 0)) * Fraction(5, 9)
    assert abs(Fraction(kept) - exact) <= Fraction(1, 2 * 10**6)
    assert units.shown(kept, unit) == typed
    assert units.read(kept, unit) == typed


@given(ounces)
def test_a_typed_ounce_is_kept_to_its_last_digit(typed: Decimal) -> None:
    kept = units.stored(typed, OUNCE)
    assert Fraction(kept) == Fraction(typed) * Fraction(28349523125, 10**9)
    assert units.shown(kept, OUNCE) == typed
    assert units.read(kept, OUNCE) == typed


@given(celsius, temperatures)
def test_what_is_stored_in_celsius_is_exact_in_fahrenheit_and_back(
    kept: Decimal, unit: str
) -> None:
    shown = units.shown(kept, unit)
    assert units.stored(shown, unit) == kept
    assert Fraction(shown) == Fraction(kept) * Fraction(9, 5) + (32 if unit == FAHRENHEIT else 0)


@given(grams)
def test_grams_shown_in_ounces_are_stored_as_the_same_grams(kept: Decimal) -> None:
    shown = units.shown(kept, OUNCE)
    assert units.stored(shown, OUNCE) == kept
    assert abs(Fraction(shown) * Fraction(28349523125, 10**9) - Fraction(kept)) < Fraction(1, 5000)


@given(st.one_of(grams, ounces.map(lambda one: units.stored(one, OUNCE))))
def test_a_form_of_grams_shown_and_sent_again_changes_nothing(kept: Decimal) -> None:
    field = PlainDecimalField(bounds=Bounds(Decimal(0), Decimal(6000), places=4, unit=GRAM))
    for choice in (METRIC, AMERICAN, BOTH):
        with read_by(lambda choice=choice: choice):  # type: ignore[misc]
            sent = format(Decimal(str(field.prepare_value(kept))), "f")
            assert field.clean(sent) == kept
            assert not field.has_changed(kept, sent)


@given(st.one_of(celsius, fahrenheit.map(lambda one: units.stored(one, FAHRENHEIT))))
def test_a_form_of_degrees_shown_and_sent_again_changes_nothing(kept: Decimal) -> None:
    field = PlainDecimalField(bounds=FREE)
    for choice in (METRIC, AMERICAN, BOTH):
        with read_by(lambda choice=choice: choice):  # type: ignore[misc]
            sent = format(Decimal(str(field.prepare_value(kept))), "f")
            assert field.clean(sent) == kept
            assert not field.has_changed(kept, sent)


def test_fixed_points() -> None:
    # Exact by definition; 0.45359237 kg to the pound of 16 oz (international, 1959).
    assert units.stored(Decimal(212), FAHRENHEIT) == 100
    assert units.stored(Decimal(32), FAHRENHEIT) == 0
    assert units.stored(Decimal(-40), FAHRENHEIT) == -40
    assert units.stored(Decimal("1.8"), FAHRENHEIT + STEP) == 1
    assert units.stored(Decimal(16), OUNCE) == Decimal("453.59237")


@pytest.mark.parametrize(
    ("typed", "bounds", "stored"),
    [
        ("200 F", WARM, "93.333333"), ("200°F", WARM, "93.333333"), ("200 f", WARM, "93.333333"),
        ("199,4 °F", WARM, "93"), ("93.0 °C", WARM, "93"), ("93 C", WARM, "93"), ("93", WARM, "93"),
        ("1.8 F", WIDTH, "1"), ("18 g", DOSE, "18"), ("0.63 oz", DOSE, "17.86019956875"),
        (".63oz", DOSE, "17.86019956875"),
    ],
)  # fmt: skip
def test_a_unit_may_be_written_behind_the_number(typed: str, bounds: Bounds, stored: str) -> None:
    assert read_entered(typed, bounds).stored == Decimal(stored)


@pytest.mark.parametrize(
    ("typed", "bounds", "told"),
    [
        ("18 oz", WARM, "another kind"), ("93 C", DOSE, "another kind"), ("20 s", DOSE, "plain"),
        ("300 F", WARM, "from 176 to 212 °F"), ("F", WARM, "plain"), ("40 oz", DOSE, "oz"),
        ("1,234 F", WARM, "from 176"), ("200 F F", WARM, "plain"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_told_in_the_unit_it_was_typed_in(
    typed: str, bounds: Bounds, told: str
) -> None:
    with pytest.raises(BadNumber, match=told):
        read_entered(typed, bounds)


def test_a_number_alone_is_in_the_reader_s_unit() -> None:
    with read_by(lambda: AMERICAN):
        assert read_entered("200", WARM).stored == Decimal("93.333333")
        assert read_entered("93 C", WARM).stored == 93
        assert read_entered("0.63", DOSE).stored == Decimal("17.86019956875")
    with read_by(lambda: BOTH):
        assert read_entered("93", WARM).stored == 93
        assert read_entered("200 F", WARM).stored == Decimal("93.333333")


def test_converted_digits_are_not_too_fine() -> None:
    assert read_number("17.86019956875", DOSE) == Decimal("17.86019956875")
    with pytest.raises(BadNumber):
        read_number("17.86019956876", DOSE)
    with pytest.raises(BadNumber):
        read_number("93.3333333", WARM)


def test_how_a_figure_is_printed() -> None:
    cold, tight = Decimal("93.0"), Decimal("0.5")
    assert printing.quantity(cold, CELSIUS) == "93.0\u00a0°C"
    with read_by(lambda: AMERICAN):
        assert printing.quantity(cold, CELSIUS) == "199.4\u00a0°F"
        assert printing.quantity(tight, CELSIUS + STEP) == "0.9\u00a0°F"
        assert printing.quantity(Decimal("18.0"), GRAM) == "0.635\u00a0oz"
        assert printing.quantity(Decimal("17.86019956875"), GRAM) == "0.63\u00a0oz"
        assert printing.quantity("volume", "") == "volume"
        assert printing.quantity(None, CELSIUS) == printing.NONE
        drawn = quantity(cold, CELSIUS, tight, tight)
        assert "199.4" in drawn
        assert "\u22120.9 / +0.9" in drawn
    with read_by(lambda: BOTH):
        assert printing.quantity(cold, CELSIUS) == "93.0\u00a0°C (199.4\u00a0°F)"
        assert printing.quantity(Decimal("93.333333"), CELSIUS) == "93.33\u00a0°C (200\u00a0°F)"


# What is refused, and what is allowed instead.

MEASURED = [
    (f"{each.code} {which.__name__}", which(each))
    for each in PARAMETERS.values()
    if each.is_number and other(each.unit)
    for which in (target_bounds, width_bounds)
]


@pytest.mark.parametrize(("name", "bounds"), [*MEASURED, ("dose", DOSE), ("offset", OFFSET)])
def test_the_ends_of_what_is_allowed_are_taken_and_nothing_beyond(
    name: str, bounds: Bounds
) -> None:
    """A bound in the other unit is the number that is stored as the bound itself."""
    unit = other(bounds.unit)
    there = bounds_in(unit, bounds)
    assert bounds.low is not None
    assert bounds.high is not None
    for end, stored_end, way in ((there.low, bounds.low, -1), (there.high, bounds.high, 1)):
        assert end is not None
        text = f"{end:f} {unit_label(unit)}"
        assert text.split(maxsplit=1)[0] in there.words(), name
        assert read_entered(text, bounds).stored == stored_end
        beyond = end + way * Decimal(1).scaleb(-max(places_of(end), TYPED))
        with pytest.raises(BadNumber, match="is not allowed"):
            read_entered(f"{beyond:f} {unit_label(unit)}", bounds)


@pytest.mark.parametrize(
    ("value", "bounds", "told"),
    [
        (Decimal("40.555556"), WARM, "“105” can't be used. Allowed: a number from 176 to 212 °F."),
        ("2000", DOSE, "“70.548” can't be used. Allowed: a number from 0.00353 to 35.27396 oz."),
        ("nothing", WARM, "“nothing” can't be used. Allowed: a number from 176 to 212 °F."),
    ],
)
def test_what_an_action_refuses_is_told_in_the_reader_s_unit(
    value: object, bounds: Bounds, told: str
) -> None:
    with read_by(lambda: AMERICAN):
        assert outside("x", value, bounds).sentence.startswith(told)
        asked = Checks(typed=True)  # a file's column says its unit
        asked.number("x", str(value), bounds)
        assert asked.problems[0].allowed == bounds.words()
    for others in (lambda: METRIC, lambda: BOTH):
        with read_by(others):
            problem = outside("x", value, bounds)
            assert (problem.value, problem.allowed) == (value, bounds.words())
