"""Taste tests: more evidence never counts for less; servings are balanced and reproducible."""

import math
from collections import Counter
from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.brewing.errors import QuantityError
from recipes.brewing.serving import ORDERS, servings
from recipes.brewing.similarity import most_correct, similarity_p_value, similarity_panel
from recipes.brewing.taste import (
    Method,
    critical_count,
    p_value,
    panel_size,
    power,
)
from recipes.brewing.telling import correct_at, sensory_distance, share_of_tasters

methods = st.sampled_from(list(Method))
FIVE = Decimal("0.05")


@given(methods, st.integers(1, 200), st.data())
def test_more_correct_answers_never_raise_p(method: Method, n: int, data: st.DataObject) -> None:
    low = (n + 1) // 2 if method.sides == 2 else 0
    k = data.draw(st.integers(low, n - 1)) if n - 1 >= low else low
    assert 0 < p_value(method, n, min(k + 1, n)) <= p_value(method, n, k) <= 1


@given(methods, st.integers(1, 200))
def test_the_critical_count_is_the_first_that_is_enough(method: Method, n: int) -> None:
    k = critical_count(method, n, FIVE)
    if k is None:
        assert p_value(method, n, n) > FIVE
    else:
        assert p_value(method, n, k) <= FIVE < p_value(method, n, k - 1)


@given(methods, st.integers(5, 120), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_power_grows_with_what_there_is_to_find(method: Method, n: int, a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert power(method, n, FIVE, low) <= power(method, n, FIVE, high) + 1e-9
    assert power(method, n, FIVE, 0.0) <= 0.05 + 1e-12


def test_a_panel_is_steady_only_where_no_larger_one_falls_short() -> None:
    size = panel_size(Method.TRIANGLE, FIVE, 0.9, 0.4)
    assert size.least is not None
    assert size.steady is not None
    assert power(Method.TRIANGLE, size.least, FIVE, 0.4) >= 0.9
    assert all(power(Method.TRIANGLE, n, FIVE, 0.4) < 0.9 for n in range(1, size.least))
    assert power(Method.TRIANGLE, size.steady - 1, FIVE, 0.4) < 0.9
    assert panel_size(Method.TRIANGLE, FIVE, 0.9, 0.01) == (None, None)


@given(methods, st.integers(1, 300), st.data())
def test_an_interval_stays_where_a_share_can_be(
    method: Method, n: int, data: st.DataObject
) -> None:
    k = data.draw(st.integers(0, n))
    share = share_of_tasters(method, n, k)
    assert 0 <= share.low <= share.value <= share.high <= 1
    apart = sensory_distance(method, n, k)
    value, high = (math.inf if part is None else part for part in (apart.value, apart.high))
    assert 0 <= apart.low <= value <= high
    assert apart.low < math.inf


@given(st.sampled_from([Method.TRIANGLE, Method.DUO_TRIO]), st.integers(1, 120), st.data())
def test_a_stricter_sameness_allows_no_more_right_answers(
    method: Method, n: int, data: st.DataObject
) -> None:
    shares = st.decimals("0.05", "0.9", places=2)
    strict, lax = sorted((data.draw(shares), data.draw(shares)))
    few, many = (most_correct(method, n, FIVE, share) for share in (strict, lax))
    assert (-1 if few is None else few) <= (-1 if many is None else many)


@given(methods, st.integers(1, 120), st.text(min_size=1, max_size=20))
def test_orders_are_balanced_and_codes_differ(method: Method, count: int, seed: str) -> None:
    made = servings(method, count, seed)
    counts = Counter(one.order for one in made)
    often = [counts[order] for order in ORDERS[method]]
    assert max(often) - min(often) <= 1
    codes = [code for one in made for code in one.codes]
    assert len(set(codes)) == len(codes)
    assert [one.number for one in made] == list(range(1, count + 1))


# As printed once; a change here would make every sheet ever printed wrong.
PRINTED = [
    ("ABB", ("465", "602", "848")),
    ("BBA", ("746", "232", "750")),
    ("AAB", ("728", "633", "277")),
]


def test_the_same_seed_gives_the_same_sheet_for_ever() -> None:
    made = servings(Method.TRIANGLE, 3, "2026-05-04 morning")
    assert [(one.order, one.codes) for one in made] == PRINTED
    assert servings(Method.TRIANGLE, 40, "another") != servings(Method.TRIANGLE, 40, "other")


def test_the_key_is_the_odd_cup_or_the_one_like_the_reference() -> None:
    for one in servings(Method.TRIANGLE, 12, "seed"):
        at = one.codes.index(one.key)
        assert one.order.count(one.order[at]) == 1
    for one in servings(Method.DUO_TRIO, 12, "seed"):
        assert one.order[1 + one.codes.index(one.key)] == one.order[0]
    assert servings(Method.PAIRED_ONE_SIDED, 1, "seed")[0].key == ""


@pytest.mark.parametrize(("call", "field"), [
    (lambda: p_value(Method.TRIANGLE, 0, 0), "assessments"),
    (lambda: p_value(Method.TRIANGLE, 10, 11), "correct"),
    (lambda: p_value(Method.TRIANGLE, 10, True), "correct"),
    (lambda: critical_count(Method.TRIANGLE, 10, 0.05), "risk"),  # type: ignore[arg-type]
    (lambda: critical_count(Method.TRIANGLE, 10, Decimal("NaN")), "risk"),
    (lambda: power(Method.TRIANGLE, 10, FIVE, float("nan")), "true share"),
    (lambda: panel_size(Method.TRIANGLE, FIVE, 1.0, 0.5), "wanted power"),
    (lambda: share_of_tasters(Method.TRIANGLE, 10, 5, 1.0), "confidence"),
    (lambda: correct_at(Method.TRIANGLE, -1.0), "distance"),
    (lambda: most_correct(Method.PAIRED_ONE_SIDED, 10, FIVE, FIVE), "method"),
    (lambda: most_correct(Method.TRIANGLE, 10, FIVE, 0.3), "share"),  # type: ignore[arg-type]
    (lambda: similarity_p_value(Method.TRIANGLE, 10, 11, FIVE), "correct"),
    (lambda: similarity_panel(Method.TRIANGLE, FIVE, 1.0, FIVE), "wanted power"),
    (lambda: servings(Method.TRIANGLE, 0, "x"), "count"),
    (lambda: servings(Method.TRIANGLE, 1, ""), "seed"),
])  # fmt: skip
def test_bad_input_is_named(call: Callable[[], object], field: str) -> None:
    with pytest.raises(QuantityError) as caught:
        call()
    assert caught.value.field == field
