"""Marks of axes: each once, none rounded to another value, and not too many for a phone."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from web.axes import MOST, number_marks, time_marks

NUMBERS = st.decimals(-5000, 5000, places=4)
MOMENTS = st.datetimes(datetime(2020, 1, 1), datetime(2036, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001  the zone is beside it


def number_words(low: str, high: str) -> list[str]:
    marks = number_marks(Decimal(low), Decimal(high))
    digits = int(marks.format[1:-1])
    return [f"{place:.{digits}f}" for place in marks.places]


def time_words(first: datetime, last: datetime) -> list[str]:
    marks = time_marks(first, last)
    at = [datetime.fromtimestamp(place / 1000, UTC) for place in marks.places]
    return [one.strftime(marks.format) for one in at]


def test_a_tolerance_of_a_half_is_a_half() -> None:
    assert "0.50" in number_words("0.5", "0.5")
    assert number_words("91", "93.5") == ["91", "92", "93", "94"]
    assert number_words("0", "0") == ["-1.0", "-0.5", "0.0", "0.5", "1.0"]


@given(NUMBERS, NUMBERS)
def test_numbers_are_covered_and_told_apart(one: Decimal, other: Decimal) -> None:
    low, high = sorted((one, other))
    words = number_words(str(low), str(high))
    places = number_marks(low, high).places
    assert places[0] <= low
    assert places[-1] >= high
    assert len(set(words)) == len(words) <= MOST + 2
    assert all(abs(float(word) - place) < 1e-9 for word, place in zip(words, places, strict=True))


@given(MOMENTS, st.floats(0, 3e8))
def test_moments_lie_between_and_are_told_apart(first: datetime, seconds: float) -> None:
    last = first + timedelta(seconds=seconds)
    marks = time_marks(first, last)
    words = time_words(first, last)
    assert len(set(words)) == len(words) <= MOST
    assert first.timestamp() * 1000 <= marks.places[0] <= marks.places[-1]
    assert marks.places[-1] <= last.timestamp() * 1000


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (0, ["3 Aug 14:05"]),
        (4, ["14:05", "14:06", "14:07", "14:08", "14:09"]),
        (60 * 24 * 3, ["4 Aug", "5 Aug", "6 Aug"]),
        (60 * 24 * 400, ["31 Oct 2026", "8 Feb 2027", "19 May 2027", "27 Aug 2027"]),
    ],
)
def test_spans_of_all_kinds(minutes: int, words: list[str]) -> None:
    first = datetime(2026, 8, 3, 14, 5, tzinfo=UTC)
    assert time_words(first, first + timedelta(minutes=minutes)) == words
