"""Which sequences of an outbox never came: told from what came, batch by batch, never by all."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence

Gaps = list[tuple[int, int]]  # from and to, rising, apart from each other
MOST = 2_000  # gaps that are kept; of a program that makes more, the last are told as one


def with_came(last: int, gaps: Sequence[Sequence[int]], came: Iterable[int]) -> tuple[int, Gaps]:
    """The highest sequence that came, and what is missing below it, once these came too."""
    now: Gaps = [(first, end) for first, end in gaps]
    for one in sorted(set(came)):
        if one > last:
            if one > last + 1:
                now.append((last + 1, one - 1))
            last = one
        else:
            _fill(now, one)
    if len(now) > MOST:
        now[MOST - 1 :] = [(now[MOST - 1][0], now[-1][1])]
    return last, now


def _fill(gaps: Gaps, one: int) -> None:
    at = bisect_right(gaps, (one, float("inf"))) - 1
    if at < 0 or gaps[at][1] < one:
        return
    first, end = gaps[at]
    gaps[at : at + 1] = [each for each in ((first, one - 1), (one + 1, end)) if each[0] <= each[1]]


def through(last: int, gaps: Sequence[tuple[int, int]]) -> int:
    """The last sequence without a gap before it."""
    return gaps[0][0] - 1 if gaps else last
