"""Are cups worse than the week before? Fisher's exact test on shots in and out of tolerance.

One-sided, R. A. Fisher, The Logic of Inductive Inference (1935): if nothing changed, how often
would so many of those outside, or more, fall among the later shots? In whole numbers.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from math import comb
from typing import NamedTuple

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import exact, whole
from recipes.brewing.taste import checked_risk

MOST_SHOTS = 20_000
MOST_FORESEEN = 500


class Shots(NamedTuple):
    """So many shots, and how many of them were out of tolerance."""

    shots: int
    outside: int


def worse_p_value(before: Shots, after: Shots) -> Fraction:
    """Exact probability of so many outside among the later shots, or more, if nothing changed.

    Up to 20,000 shots each. Raises QuantityError naming shots or outside.
    """
    for sample in (before, after):
        whole("shots", sample.shots, least=0, most=MOST_SHOTS)
        whole("outside", sample.outside, least=0, most=sample.shots)
    out = before.outside + after.outside
    most = min(out, after.shots)
    found = sum(
        comb(after.shots, later) * comb(before.shots, out - later)
        for later in range(after.outside, most + 1)
    )
    return Fraction(found, comb(before.shots + after.shots, out))


def could_tell(before: Shots, shots: int, risk: Decimal) -> bool:
    """Whether so many later shots, every one outside, would count as worse at this risk.

    Raises QuantityError naming shots, outside or risk.
    """
    return worse_p_value(before, Shots(shots, shots)) <= Fraction(checked_risk(risk))


def chance_to_hold(shots: int, risk: Decimal, before: Decimal, after: Decimal) -> float:
    """Probability to find cups worse, so many shots (1 to 500) before and after.

    ``before`` and ``after`` are the true shares inside tolerance; alike, it is the risk of holding
    what is well, which the exact test keeps below ``risk``. Raises QuantityError naming which.
    """
    n = whole("shots", shots, least=1, most=MOST_FORESEEN)
    limit = float(checked_risk(risk))
    earlier = 1 - float(exact("before", before, least=Decimal(0), most=Decimal(1)))
    later = 1 - float(exact("after", after, least=Decimal(0), most=Decimal(1)))
    return _chance(n, limit, earlier, later)


@lru_cache(maxsize=256)
def _chance(n: int, limit: float, earlier: float, later: float) -> float:
    """Over every pair of counts outside: how often it comes, where the test finds it worse."""
    counts = np.arange(n + 1)
    one, two = np.meshgrid(counts, counts, indexing="ij")
    p = scipy.stats.hypergeom.sf(two - 1, 2 * n, one + two, n)
    odds = np.outer(
        scipy.stats.binom.pmf(counts, n, earlier), scipy.stats.binom.pmf(counts, n, later)
    )
    return float(odds[p <= limit * (1 + 1e-12)].sum())
