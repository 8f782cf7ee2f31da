"""Scores of shots against all shots before them, and the CUSUM that follows the scores.

No baseline has to be frozen first: each shot is predicted from those before it, and what is left,
divided by its own uncertainty, follows Student's t. Turned into normal scores these are independent
with mean 0 and standard deviation 1 as long as nothing changes, however few shots there were, so
that the false-alarm rate is the one of the table and not a guess (Hawkins, The Statistician 36,
1987, 299-315; recursive residuals: Brown, Durbin and Evans, JRSS B 37, 1975, 149-192; read about
in Hawkins and Olwell 1998, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from stations.metrology.numbers import Floats, Real, number, series

WINSOR = 3.0  # a score beyond counts as this: one spilt cup raises no alarm
ALLOWANCE = 0.5  # k: half the shift that is found quickest, one standard deviation
FEWEST_FREE = 10  # degrees of freedom before anything is scored; our choice
SINGULAR = 1e-9  # of the largest eigenvalue
KEPT = 200  # values that a rank is taken among
Table = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class Reference:
    """What the shots so far say: sums of a regression, and of squared recursive residuals.

    ``gram`` is X'X, ``moment`` X'y, ``square`` the sum of squares with ``free`` degrees of freedom.
    """

    gram: Table
    moment: tuple[float, ...]
    square: float = 0.0
    free: int = 0
    count: int = 0

    @classmethod
    def of(cls, width: int) -> Reference:
        """Of so many columns, before the first shot."""
        return cls(((0.0,) * width,) * width, (0.0,) * width)

    @property
    def spread(self) -> float:
        """The standard deviation of a shot about its prediction, in the data's unit."""
        return math.sqrt(self.square / self.free) if self.free else 0.0


@dataclass(frozen=True, slots=True)
class Scored:
    """A shot against those before it: ``residual`` in the data's unit, and its normal score.

    None where those before say nothing of it, or too little.
    """

    residual: float | None
    score: float | None
    after: Reference


def score(before: Reference, columns: Sequence[Real], value: Real) -> Scored:
    """Score a shot by the regression of all before it on ``columns``, and take it on.

    The first column is usually 1. A column that never varied, or a mark never met, can't be told
    from the others: such a shot is taken on unscored. Beyond ±3 a shot counts as 3, in the score
    and in the reference alike; ``residual`` is whole. Raises BadValueError for numbers that aren't
    finite.
    """
    row = np.array([number("column", each) for each in columns])
    seen = number("value", value)
    gram, moment = np.array(before.gram), np.array(before.moment)
    inverse = np.linalg.pinv(gram, rcond=SINGULAR, hermitian=True)
    told = gram @ inverse @ row
    if not np.allclose(told, row, rtol=1e-6, atol=1e-6):
        return Scored(None, None, _taken(before, row, seen, None))
    residual = seen - float(row @ inverse @ moment)
    width = math.sqrt(1.0 + max(0.0, float(row @ inverse @ row)))
    if before.free < FEWEST_FREE or before.spread <= SINGULAR:
        return Scored(residual, None, _taken(before, row, seen, residual / width))
    free, spread = before.free, before.spread
    found = float(scipy.special.ndtri(scipy.special.stdtr(free, residual / (spread * width))))
    cut = max(-WINSOR, min(WINSOR, found))
    if cut != found:
        most = float(scipy.special.stdtrit(free, scipy.special.ndtr(cut))) * spread * width
        return Scored(residual, cut, _taken(before, row, seen + most - residual, most / width))
    return Scored(residual, cut, _taken(before, row, seen, residual / width))


def _taken(before: Reference, row: Floats, value: float, recursive: float | None) -> Reference:
    """The reference with this shot among it."""
    gram = np.array(before.gram) + np.outer(row, row)
    moment = np.array(before.moment) + row * value
    scored = recursive is not None
    return Reference(
        tuple(tuple(float(each) for each in line) for line in gram),
        tuple(float(each) for each in moment),
        before.square + (recursive or 0.0) ** 2,
        before.free + scored,
        before.count + 1,
    )


def rank_score(before: Sequence[float], value: Real) -> float | None:
    """Return the normal score of a value's rank among those before it and itself.

    Whatever their distribution, ranks in turn are independent and even while nothing changes
    (Parent 1965; McDonald, Naval Research Logistics 37, 1990, 627-646, from memory); equal values
    share their place. None with fewer than 20 before it, among which a rank is too coarse.
    """
    seen = number("value", value)
    if len(before) < 2 * FEWEST_FREE:
        return None
    others = series("before", before)
    below, same = float((others < seen).sum()), float((others == seen).sum())
    return float(scipy.special.ndtri((below + same / 2.0 + 0.5) / (len(others) + 1.0)))


@dataclass(frozen=True, slots=True)
class Sums:
    """A CUSUM of scores upward and downward, and how many shots since each left zero."""

    high: float = 0.0
    low: float = 0.0
    high_shots: int = 0
    low_shots: int = 0


def follow(before: Sums, scored: float) -> Sums:
    """Return the sums after one more shot: max(0, S + u - k) and max(0, S - u - k)."""
    high = max(0.0, before.high + scored - ALLOWANCE)
    low = max(0.0, before.low - scored - ALLOWANCE)
    return Sums(high, low, before.high_shots + 1 if high else 0, before.low_shots + 1 if low else 0)
