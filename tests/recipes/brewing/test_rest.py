"""Rest window: both ends count, and a shot before its roast is an error."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.brewing.errors import QuantityError
from recipes.brewing.rest import Rest, RestState, check_rest, days_off_roast

ROASTED = date(2028, 2, 27)


def test_days_cross_a_leap_day() -> None:
    assert days_off_roast(ROASTED, date(2028, 3, 1)) == 3
    assert days_off_roast(ROASTED, ROASTED) == 0


@pytest.mark.parametrize(("days", "rest"), [
    (6, Rest(6, RestState.RESTING, 1)),
    (7, Rest(7, RestState.READY, 8)),
    (14, Rest(14, RestState.READY, 1)),
    (15, Rest(15, RestState.PAST, None)),
])  # fmt: skip
def test_both_ends_of_the_window_count(days: int, rest: Rest) -> None:
    assert check_rest(days, 7, 14) == rest
    assert rest.warn is (rest.state is not RestState.READY)


@given(st.integers(0, 400), st.integers(0, 100), st.integers(0, 100))
def test_the_state_changes_after_the_days_left(days: int, first: int, width: int) -> None:
    rest = check_rest(days, first, first + width)
    if rest.days_left is not None:
        assert check_rest(days + rest.days_left - 1, first, first + width).state is rest.state
        assert check_rest(days + rest.days_left, first, first + width).state is not rest.state


def test_bad_input_is_named() -> None:
    with pytest.raises(QuantityError, match="on: "):
        days_off_roast(ROASTED, ROASTED - timedelta(days=1))
    with pytest.raises(QuantityError, match="own zone"):
        days_off_roast(ROASTED, datetime(2028, 3, 1, tzinfo=UTC))
    with pytest.raises(QuantityError, match="last"):
        check_rest(3, 10, 9)
    with pytest.raises(QuantityError, match="days"):
        check_rest(-1, 7, 14)
