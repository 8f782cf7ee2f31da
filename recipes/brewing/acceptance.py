"""Acceptance by a count: so many shots, and so many of them inside tolerance.

Sampling by attributes (ISO 2859) with the exact binomial. It ends as soon as its outcome is sure,
which changes no risk and spares shots (curtailed inspection).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import real, whole
from recipes.brewing.sequential import Expected, Judged

MOST_SHOTS = 500


@dataclass(frozen=True, slots=True)
class CountTest:
    """Of so many ``shots`` (1 to 500), ``inside`` at least must be in tolerance.

    Raises QuantityError naming shots or inside.
    """

    shots: int
    inside: int

    def __post_init__(self) -> None:
        """Check both."""
        whole("shots", self.shots, least=1, most=MOST_SHOTS)
        whole("inside", self.inside, least=1, most=self.shots)

    @property
    def failing(self) -> int:
        """So many outside, and it can no longer pass."""
        return self.shots - self.inside + 1


def judge_count(test: CountTest, outside: Iterable[bool]) -> Judged:
    """Judge shots in the order they were pulled in; none after the decision is looked at."""
    shots = out = 0
    for one in outside:
        shots, out = shots + 1, out + bool(one)
        if out >= test.failing:
            return Judged(False, shots, out)
        if shots - out >= test.inside:
            return Judged(True, shots, out)
    return Judged(None, shots, out)


def expected_count(test: CountTest, inside: float) -> Expected:
    """What the test does where this share of shots is inside tolerance (0 to 1), exactly.

    It ends with the last inside that is needed, or the first outside that is too many: both are
    negative binomial. Raises QuantityError naming inside.
    """
    share = real("inside", inside, least=0.0, most=1.0)
    passes = float(scipy.stats.binom.sf(test.inside - 1, test.shots, share))
    ends = _shots_until(test.inside, share, test.shots)
    ends += _shots_until(test.failing, 1 - share, test.shots)
    return Expected(passes, ends)


def _shots_until(hits: int, share: float, most: int) -> float:
    """Sum of n · P(the last of so many hits comes with shot n), n up to ``most``."""
    if share == 0:
        return 0.0
    return sum(
        number * float(scipy.stats.nbinom.pmf(number - hits, hits, share))
        for number in range(hits, most + 1)
    )
