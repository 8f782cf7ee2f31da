"""Gaps told batch by batch are those of all that came."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from stations.gateways.gaps import MOST, Gaps, through, with_came


@given(st.lists(st.lists(st.integers(1, 60), max_size=12), max_size=12))
def test_as_if_all_had_been_looked_at(batches: list[list[int]]) -> None:
    last, gaps = 0, Gaps()
    came: set[int] = set()
    for batch in batches:
        last, gaps = with_came(last, gaps, batch)
        came |= set(batch)
        missing = set(range(1, max(came, default=0) + 1)) - came
        assert {n for a, b in gaps for n in range(a, b + 1)} == missing
        assert last == max(came, default=0)
        assert through(last, gaps) == min(missing, default=last + 1) - 1
        assert all(a <= b for a, b in gaps)
        assert all(b + 1 < c for (_, b), (c, _) in pairwise(gaps))


def test_they_are_bounded() -> None:
    last, gaps = with_came(0, [], range(2, 10_000, 2))
    assert (last, len(gaps)) == (9_998, MOST)
    assert gaps[-1][1] == 9_997
    assert through(last, gaps) == 0
