"""Triangle and duo-trio tests for similarity: are two samples the same, near enough?

Nobody can show that no taster at all can tell. What can be shown is that no more than a stated
share of them can (ISO 4120 and ISO 10399, testing for similarity): few enough right answers would
be rare if that many could. Whole numbers throughout, as in recipes.brewing.taste.
"""

from __future__ import annotations

from bisect import bisect_right
from decimal import Decimal
from fractions import Fraction
from operator import neg

from recipes.brewing.errors import QuantityError, exact, whole
from recipes.brewing.taste import (
    Method,
    PanelSize,
    checked_assessments,
    checked_risk,
    outcomes_from,
    smallest_panel,
)


def similarity_p_value(method: Method, assessments: int, correct: int, share: Decimal) -> Fraction:
    """Exact probability of so many correct answers or fewer if `share` of the tasters can tell.

    share from 0.01 to 0.9, an exact decimal. Raises QuantityError naming method, assessments,
    correct or share.
    """
    n = checked_assessments(assessments)
    k = whole("correct", correct, least=0, most=n)
    answer = _correct_share(method, share)
    return 1 - Fraction(_more_than(answer, n, k), answer.denominator**n)


def most_correct(method: Method, assessments: int, risk: Decimal, share: Decimal) -> int | None:
    """Most correct answers with similarity_p_value <= risk; None if not even none is few enough.

    risk from 0.0001 to 0.5: of calling the same what more than `share` can tell apart. Raises
    QuantityError naming method, assessments, risk or share.
    """
    n = checked_assessments(assessments)
    answer = _correct_share(method, share)
    every = answer.denominator**n
    limit = Fraction(checked_risk(risk))
    # P(k or fewer) <= risk where the outcomes with more than k are every - risk x every at least.
    least = every - limit.numerator * every // limit.denominator
    tail = outcomes_from(answer, n)  # falls as k grows; tail[k + 1] are those with more than k
    most = bisect_right(tail, -least, key=neg) - 2
    return most if most >= 0 else None


def similarity_power(method: Method, assessments: int, risk: Decimal, share: Decimal) -> float:
    """Probability that similarity is shown where nobody at all can tell, 0 to 1.

    Raises QuantityError as most_correct does.
    """
    most = most_correct(method, assessments, risk, share)
    if most is None:
        return 0.0
    every = method.chance.denominator**assessments
    return float(1 - Fraction(_more_than(method.chance, assessments, most), every))


def similarity_panel(
    method: Method, risk: Decimal, wanted: float, share: Decimal, most: int = 300
) -> PanelSize:
    """Assessments, one of each taster, that show similarity with a power of `wanted`.

    wanted from 0.5 to 0.999. Raises QuantityError naming what is out of range.
    """
    return smallest_panel(lambda n: similarity_power(method, n, risk, share), wanted, most)


def _correct_share(method: Method, share: Decimal) -> Fraction:
    """Probability of a correct answer where that share can tell and the others guess."""
    if method not in (Method.TRIANGLE, Method.DUO_TRIO):
        raise QuantityError("method", method, "triangle or duo-trio")
    able = Fraction(exact("share", share, least=Decimal("0.01"), most=Decimal("0.9")))
    return method.chance + able * (1 - method.chance)


def _more_than(answer: Fraction, n: int, k: int) -> int:
    return 0 if k == n else outcomes_from(answer, n)[k + 1]
