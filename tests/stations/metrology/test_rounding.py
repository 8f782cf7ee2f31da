"""Half-up at a machine's resolution, exact, in Python as in SQL."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import to_resolution

D = Decimal
values = st.decimals(-10_000, 10_000, places=6)
steps = st.sampled_from(
    [D("1"), D("0.1"), D("0.5"), D("0.25"), D("0.05"), D("3"), D("0.01"), D("0.7")]
)


@pytest.mark.parametrize(
    ("value", "resolution", "expected"),
    [
        ("257.6", "1", "258"),
        ("2.5", "1", "3"),
        ("3.5", "1", "4"),
        ("-2.5", "1", "-3"),
        ("0.25", "0.1", "0.3"),
        ("92.25", "0.5", "92.5"),
        ("92.249999999", "0.5", "92.0"),
        ("9", "0.5", "9.0"),
        ("-0.04", "0.1", "0.0"),
        ("10", "0.3", "9.9"),
    ],
)
def test_ties_go_away_from_zero(value: str, resolution: str, expected: str) -> None:
    assert str(to_resolution(D(value), D(resolution))) == expected


@given(values, steps)
def test_result_is_the_nearest_multiple(value: Decimal, step: Decimal) -> None:
    rounded = Fraction(to_resolution(value, step))
    gap = abs(rounded - Fraction(value))
    assert rounded % Fraction(step) == 0
    assert gap <= Fraction(step) / 2
    if gap == Fraction(step) / 2:
        assert abs(rounded) > abs(Fraction(value))


@given(values, steps)
def test_rounding_again_changes_nothing(value: Decimal, step: Decimal) -> None:
    once = to_resolution(value, step)
    assert to_resolution(once, step) == once


@given(values, steps)
def test_litres_and_millilitres_agree(value: Decimal, step: Decimal) -> None:
    assert to_resolution(value / 1000, step / 1000) * 1000 == to_resolution(value, step)


@pytest.mark.django_db
def test_sql_rounds_alike() -> None:
    pairs = [(D(n) / 200, step) for n in range(-900, 900, 7) for step in (D("0.1"), D("0.5"), D(1))]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT round(v / r) * r FROM unnest(%s::numeric[], %s::numeric[]) AS t(v, r)",
            [[value for value, _ in pairs], [step for _, step in pairs]],
        )
        found = [row[0] for row in cursor.fetchall()]
    assert found == [to_resolution(value, step) for value, step in pairs]


@pytest.mark.parametrize("bad", [D("NaN"), D("Infinity"), D("1e19"), D("1e-19"), 2.5, "3", None])
def test_unusable_values_are_named(bad: object) -> None:
    with pytest.raises(BadValueError, match="value"):
        to_resolution(bad, D(1))  # type: ignore[arg-type]


@pytest.mark.parametrize("bad", [D(0), D(-1), D("NaN")])
def test_unusable_resolutions_are_named(bad: Decimal) -> None:
    with pytest.raises(BadValueError, match="resolution"):
        to_resolution(D(1), bad)
