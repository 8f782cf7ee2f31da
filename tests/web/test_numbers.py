"""Numbers as people and programs type them; source of the rules: our own (design, invariant 11)."""

from decimal import Decimal

import pytest
from django import forms
from hypothesis import given
from hypothesis import strategies as st
from rest_framework import serializers

from web.fields import PlainDecimal, PlainDecimalField
from web.numbers import BadNumber, Bounds, read_number, read_typed

DOSE = Bounds(low=Decimal(5), high=Decimal(30), places=1, unit="g")


@pytest.mark.parametrize(
    ("typed", "number"),
    [("18", "18"), (" 18.5 ", "18.5"), ("18.", "18"), ("+7.0", "7.0"), ("029.9", "29.9")],
)
def test_plain_numbers_are_taken_digit_for_digit(typed: str, number: str) -> None:
    assert str(read_number(typed, DOSE)) == number


def test_the_minus_sign_our_pages_print_is_read_back() -> None:
    assert read_number("−0.5") == Decimal("-0.5")  # noqa: RUF001 - U+2212


@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ("18,5", "comma"),
        ("1,234", "comma"),
        ("1,234.5", "comma"),
        ("NaN", "no quantity"),
        ("-Infinity", "no quantity"),
        ("1e9", "exponent"),
        ("1E-9999999", "exponent"),
        ("18 g", "without its unit"),
        ("١٨", "not a plain number"),
        ("0x12", "not a plain number"),
        ("", "not a plain number"),
        ("1_000", "not a plain number"),
        ("9" * 1000, "too long"),
        ("31", "not allowed"),
        ("4.9", "not allowed"),
        ("18.55", "not allowed"),
        ("-18", "not allowed"),
    ],
)
def test_anything_else_is_refused_with_value_and_allowance(typed: str, reason: str) -> None:
    with pytest.raises(BadNumber) as bad:
        read_number(typed, DOSE)
    sentence = str(bad.value)
    assert reason in sentence
    assert typed[:40] in sentence
    assert sentence.endswith(".")


ALTITUDE = Bounds(low=Decimal(-450), high=Decimal(9000), places=1, unit="m")
PULSES = Bounds(low=Decimal("0.1"), high=Decimal(50), places=4)
WIDE = Bounds(low=Decimal(0), high=Decimal(5000), places=3)


@pytest.mark.parametrize(
    ("typed", "bounds", "number"),
    [
        ("18,5", DOSE, "18.5"),
        (" 18, ", DOSE, "18"),
        ("18.5", DOSE, "18.5"),
        ("4,110", PULSES, "4.110"),
        ("0,250", WIDE, "0.250"),
        ("−0,5", None, "-0.5"),  # noqa: RUF001 - U+2212
    ],
)
def test_people_write_decimals_behind_a_comma_too(
    typed: str, bounds: Bounds | None, number: str
) -> None:
    assert str(read_typed(typed, bounds)) == number


@pytest.mark.parametrize(
    ("typed", "bounds", "sentence"),
    [
        ("2,240", WIDE, "“2,240” can be read in two ways: write 2.240 or 2240."),
        ("2,240", ALTITUDE, "“2,240” has a comma: write 2240 without one."),
        ("18,55", DOSE, "not allowed: give a number from 5 to 30 g"),
        ("1,234.5", WIDE, "has a comma"),
        ("1,2,3", WIDE, "has a comma"),
        (",", WIDE, "not a plain number"),
    ],
)
def test_a_comma_in_doubt_is_asked_about(typed: str, bounds: Bounds, sentence: str) -> None:
    with pytest.raises(BadNumber) as bad:
        read_typed(typed, bounds)
    assert sentence in str(bad.value)


@given(st.decimals(allow_nan=False, allow_infinity=False, places=2, min_value=-999, max_value=999))
def test_a_comma_or_a_point_say_the_same(number: Decimal) -> None:
    assert read_typed(f"{number:f}".replace(".", ",")) == read_typed(f"{number:f}") == number


def test_the_allowance_is_worded_with_its_unit() -> None:
    with pytest.raises(BadNumber, match="a number from 5 to 30 g, at most 1 decimal place"):
        read_number("31", DOSE)
    with pytest.raises(BadNumber, match="of at least 0, no decimal places"):
        read_number("-1", Bounds(low=Decimal(0), places=0))


@given(st.text(max_size=60))
def test_no_text_does_anything_but_be_read_or_refused(typed: str) -> None:
    try:
        number = read_number(typed)
    except BadNumber:
        return
    assert number.is_finite()


@given(st.decimals(allow_nan=False, allow_infinity=False, places=3, min_value=0, max_value=99999))
def test_what_is_printed_is_read_back_exactly(number: Decimal) -> None:
    assert str(read_number(f"{number:f}")) == f"{number:f}"


class DoseForm(forms.Form):
    dose = PlainDecimalField(bounds=DOSE, required=False)


class DoseBody(serializers.Serializer[Decimal]):
    dose = PlainDecimal(bounds=DOSE)


def test_a_form_field_says_it_beside_the_field() -> None:
    assert DoseForm({"dose": "18.55"}).errors["dose"] == [
        "“18.55” is not allowed: give a number from 5 to 30 g, at most 1 decimal place."
    ]
    good, empty = DoseForm({"dose": "18.5"}), DoseForm({"dose": ""})
    assert good.is_valid()
    assert empty.is_valid()
    assert (good.cleaned_data["dose"], empty.cleaned_data["dose"]) == (Decimal("18.5"), None)


def test_the_same_number_typed_otherwise_is_no_change() -> None:
    assert not DoseForm({"dose": "18.50"}, initial={"dose": Decimal("18.5")}).has_changed()
    assert not DoseForm({"dose": "18,50"}, initial={"dose": Decimal("18.5")}).has_changed()
    assert DoseForm({"dose": "18.6"}, initial={"dose": Decimal("18.5")}).has_changed()


@pytest.mark.parametrize("sent", ["18,5", "NaN", True, None, [], {}, "1e5", Decimal("1E+5"), ""])
def test_the_api_field_refuses_the_same(sent: object) -> None:
    body = DoseBody(data={"dose": sent})
    assert not body.is_valid()
    assert body.errors["dose"]


@pytest.mark.parametrize("sent", ["18.5", Decimal("18.5")])
def test_the_api_field_takes_text_and_json_numbers_exactly(sent: object) -> None:
    body = DoseBody(data={"dose": sent})
    assert body.is_valid(), body.errors
    assert str(body.validated_data["dose"]) == "18.5"
    assert PlainDecimal().to_representation(Decimal("18.50")) == "18.50"
