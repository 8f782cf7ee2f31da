"""How far two samples are apart, as far as the answers of a blind session can say.

Each figure comes with the exact interval of the binomial (Clopper and Pearson), which stays between
0 and 1 however few the answers are, and covers at least as often as it says.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import real, whole
from recipes.brewing.taste import Method, checked_assessments

FAR = 20.0  # standard deviations: no panel that there is would give a wrong answer any more


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure and its interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Distance:
    """d-prime and its interval; None where it has no end."""

    value: float | None
    low: float
    high: float | None


def share_of_answers(assessments: int, counted: int, confidence: float = 0.90) -> Estimate:
    """Share of answers, 0 to 1, with its exact interval.

    confidence from 0.5 to 0.9999. Raises QuantityError naming assessments, correct or confidence.
    """
    n = checked_assessments(assessments)
    x = whole("correct", counted, least=0, most=n)
    level = real("confidence", confidence, least=0.5, most=0.9999)
    interval = scipy.stats.binomtest(x, n).proportion_ci(level, method="exact")
    return Estimate(x / n, float(interval.low), float(interval.high))


def share_of_tasters(
    method: Method, assessments: int, correct: int, confidence: float = 0.90
) -> Estimate:
    """Share of tasters who can tell, 0 to 1: (x/n - chance) / (1 - chance), and 0 below chance.

    ISO 5495 Amd 1 B.5.2 (references 4.2: 21 of 30 gives 0.4). Raises QuantityError as above.
    """
    answers = share_of_answers(assessments, correct, confidence)
    chance = float(method.chance)
    value, low, high = (
        max(0.0, (part - chance) / (1.0 - chance))
        for part in (answers.value, answers.low, answers.high)
    )
    return Estimate(value, low, high)


def sensory_distance(
    method: Method, assessments: int, correct: int, confidence: float = 0.90
) -> Distance:
    """d-prime: how many standard deviations of perception lie between the samples.

    Thurstone's model, as Ennis (1993, J. Sens. Stud. 8:353) applies it. 0 where there were no more
    correct answers than by chance, None where all were. Raises QuantityError as above.
    """
    answers = share_of_answers(assessments, correct, confidence)
    low = _distance(method, answers.low)
    return Distance(_distance(method, answers.value), low or 0.0, _distance(method, answers.high))


def correct_at(method: Method, distance: float) -> float:
    """Probability of a correct answer at that d-prime, from 0. Raises QuantityError."""
    d = real("distance", distance, least=0.0, most=FAR)
    phi = scipy.stats.norm.cdf
    if method is Method.TRIANGLE:
        # Bi and O'Mahony (2013, J. Sens. Stud. 28:439), from memory: a noncentral F.
        return float(scipy.stats.ncf.sf(3.0, 1, 1, 2.0 * d * d / 3.0)) if d else 1.0 / 3.0
    if method is Method.DUO_TRIO:
        half, sixth = phi(d / sqrt(2.0)), phi(d / sqrt(6.0))
        return float(1.0 - half - sixth + 2.0 * half * sixth)
    return float(phi(d / sqrt(2.0)))


def _distance(method: Method, share: float) -> float | None:
    if share <= correct_at(method, 0.0):
        return 0.0
    if share >= correct_at(method, FAR):
        return None
    found = scipy.optimize.brentq(lambda d: correct_at(method, d) - share, 0.0, FAR)
    return float(found)
