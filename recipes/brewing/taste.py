"""Difference and preference tests by the exact binomial: what a blind session shows.

Triangle (ISO 4120), duo-trio (ISO 10399), paired preference (ISO 5495). Probabilities are summed
in whole numbers, so a critical count can not slip by a rounding; printed tables have slipped.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from operator import neg
from typing import NamedTuple

import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import exact, real, whole

MOST_ASSESSMENTS = 2_000


class Method(StrEnum):
    """How a session asks: a paired preference is one-sided if the better one was named before."""

    TRIANGLE = "triangle"
    DUO_TRIO = "duo-trio"
    PAIRED_ONE_SIDED = "paired, one-sided"
    PAIRED_TWO_SIDED = "paired, two-sided"

    @property
    def chance(self) -> Fraction:
        """Probability of a correct answer by guessing."""
        return Fraction(1, 3) if self is Method.TRIANGLE else Fraction(1, 2)

    @property
    def is_preference(self) -> bool:
        """Whether it asks which is preferred, so that no answer is wrong."""
        return self in (Method.PAIRED_ONE_SIDED, Method.PAIRED_TWO_SIDED)

    @property
    def sides(self) -> int:
        """1, or 2 where either sample may come out preferred."""
        return 2 if self is Method.PAIRED_TWO_SIDED else 1


def p_value(method: Method, assessments: int, correct: int) -> Fraction:
    """Exact probability of so many correct answers or more by guessing alone.

    Two-sided: of so far from half or farther, either way. assessments from 1 to 2,000. Raises
    QuantityError naming assessments or correct.
    """
    n = checked_assessments(assessments)
    k = whole("correct", correct, least=0, most=n)
    far = max(k, n - k) if method.sides == 2 else k
    reached = Fraction(outcomes_from(method.chance, n)[far], method.chance.denominator**n)
    return min(Fraction(1), method.sides * reached)


def critical_count(method: Method, assessments: int, risk: Decimal) -> int | None:
    """Fewest correct answers with p <= risk, or None if no number of them is enough.

    risk from 0.0001 to 0.5, an exact decimal (0.05 as a float is a little more than 1/20).
    Raises QuantityError naming assessments or risk.
    """
    n = checked_assessments(assessments)
    limit = Fraction(checked_risk(risk)) / method.sides
    most = limit.numerator * method.chance.denominator**n // limit.denominator
    tail = outcomes_from(method.chance, n)  # falls as k grows
    least = bisect_left(tail, -most, key=neg)
    return least if least <= n else None


def power(method: Method, assessments: int, risk: Decimal, true_share: float) -> float:
    """Probability of reaching the critical count if it is true that there is something to find.

    `true_share` from 0 to 1: of assessors who can tell (triangle, duo-trio), or of the paired
    case, how far the preference leans from even (1: all prefer the one). A correct answer then has
    probability chance + share x (1 - chance). Raises QuantityError as `critical_count` does.
    """
    share = real("true share", true_share, least=0.0, most=1.0)
    needed = critical_count(method, assessments, risk)
    if needed is None:
        return 0.0
    chance = float(method.chance)
    answer = chance + share * (1.0 - chance)
    found = float(scipy.stats.binom.sf(needed - 1, assessments, answer))
    if method.sides == 2:
        found += float(scipy.stats.binom.cdf(assessments - needed, assessments, answer))
    return min(found, 1.0)


class PanelSize(NamedTuple):
    """`least` assessments that reach the power, and `steady` ones from which on it is kept."""

    least: int | None
    steady: int | None


def panel_size(
    method: Method, risk: Decimal, wanted: float, true_share: float, most: int = 300
) -> PanelSize:
    """Assessments needed for a power of `wanted`; None where `most` are not enough.

    Power saws as n grows, because counts are whole: printed tables give the least n, after which
    some larger ones fall short again. wanted from 0.5 to 0.999. Raises QuantityError naming what
    is out of range.
    """
    return smallest_panel(lambda n: power(method, n, risk, true_share), wanted, most)


def smallest_panel(power_of: Callable[[int], float], wanted: float, most: int) -> PanelSize:
    """Assessments, up to `most`, whose power is `wanted` at least. Raises QuantityError."""
    goal = real("wanted power", wanted, least=0.5, most=0.999)
    top = whole("most", most, least=1, most=MOST_ASSESSMENTS)
    enough = [power_of(n) >= goal for n in range(1, top + 1)]
    if not any(enough):
        return PanelSize(None, None)
    short = [n for n, reached in enumerate(enough, start=1) if not reached]
    steady = short[-1] + 1 if short else 1
    return PanelSize(enough.index(True) + 1, steady if steady <= top else None)


@lru_cache(maxsize=1024)
def outcomes_from(chance: Fraction, n: int) -> list[int]:
    """For k from 0 to n, of the equally likely outcomes those with k correct answers or more.

    There are chance.denominator ** n outcomes.
    """
    hit, miss = chance.numerator, chance.denominator - chance.numerator
    running, ways, just = 0, [0] * (n + 1), hit**n  # just: outcomes with exactly k
    for k in range(n, -1, -1):
        running += just
        ways[k] = running
        just = just * k * miss // ((n - k + 1) * hit)
    return ways


def checked_assessments(value: int) -> int:
    """The same number. Raises QuantityError unless it is from 1 to 2,000."""
    return whole("assessments", value, least=1, most=MOST_ASSESSMENTS)


def checked_risk(value: Decimal) -> Decimal:
    """The same risk. Raises QuantityError unless it is an exact decimal from 0.0001 to 0.5."""
    return exact("risk", value, least=Decimal("0.0001"), most=Decimal("0.5"))
