"""Do all bars pour the recipe? Each bar's mean against the target, with the tolerance as margin.

The target, not the mean of the bars: that mean moves with the bar that is off, and bars that are
all wrong alike would pass. Two one-sided t-tests a bar show that it pours the recipe (Schuirmann
1987); a t-test against the nearer limit shows that it does not. Over many bars both families of
p-values are adjusted (Holm 1979), so that the risk stands for all of them together.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

import scipy  # its parts load when first used: together they take seconds

from stations.metrology.equivalence import Sample
from stations.metrology.errors import BadValueError
from stations.metrology.numbers import SMALLEST, Real, number

K = TypeVar("K")


@dataclass(frozen=True, slots=True)
class AgainstTarget:
    """One bar's mean less the target, in the recipe's unit, tested both ways.

    ``p_low`` and ``p_high`` test "not above the lower margin" and "not below the upper one";
    ``p_other`` tests "within both margins", looking at either side. ``interval`` has confidence
    1 - 2 risk.
    """

    count: int
    difference: float
    standard_error: float
    t_low: float
    t_high: float
    p_low: float
    p_high: float
    p_other: float
    interval: tuple[float, float]

    @property
    def p_value(self) -> float:
        """Return the p-value of equivalence: the larger of the two."""
        return max(self.p_low, self.p_high)


@dataclass(frozen=True, slots=True)
class Judged:
    """A bar's test with the p-values adjusted for all bars together."""

    test: AgainstTarget
    p_equal: float
    p_other: float
    risk: float

    @property
    def conclusion(self) -> str:
        """Return "pours the recipe", "differs" or "not shown yet"."""
        if self.p_equal < self.risk:
            return "pours the recipe"
        return "differs" if self.p_other < self.risk else "not shown yet"


def against_target(
    sample: Sample, target: Real, *, below: Real, above: Real, risk: Real = 0.05
) -> AgainstTarget:
    """Return the test of one bar's shots against the target.

    ``below`` and ``above`` are the tolerance. Raises BadValueError for fewer than 2 shots, a
    tolerance not above 0, a risk outside 0 to 0.5, and shots that show no spread.
    """
    count = int(number("count", sample.count, low=2.0, high=1e12))
    low = -number("below", below, above=0.0)
    high = number("above", above, above=0.0)
    alpha = number("risk", risk, above=0.0, high=0.4999)
    error = number("spread", sample.spread, low=0.0) / math.sqrt(count)
    if error < SMALLEST:
        raise BadValueError("spread", error, "shots that differ")
    difference = number("mean", sample.mean) - number("target", target)
    t_low, t_high = (difference - low) / error, (difference - high) / error
    dof = count - 1.0
    half = -float(scipy.special.stdtrit(dof, alpha)) * error
    return AgainstTarget(
        count=count,
        difference=difference,
        standard_error=error,
        t_low=t_low,
        t_high=t_high,
        p_low=_below(dof, -t_low),
        p_high=_below(dof, t_high),
        # Twice the smaller tail: at most the risk is taken, whichever side turns out.
        p_other=min(1.0, 2.0 * min(_below(dof, t_low), _below(dof, -t_high))),
        interval=(difference - half, difference + half),
    )


def _below(dof: float, t: float) -> float:
    """Return the share of Student's t below ``t``; scipy.stats takes a hundred times as long."""
    return float(scipy.special.stdtr(dof, t))


def holm(p_values: Iterable[float]) -> list[float]:
    """Return the p-values adjusted for one another, in the order given (Holm 1979).

    Raises BadValueError for one outside 0 to 1.
    """
    given = [number("p-value", p, low=0.0, high=1.0) for p in p_values]
    adjusted, least = [0.0] * len(given), 0.0
    for rank, at in enumerate(sorted(range(len(given)), key=given.__getitem__)):
        least = max(least, min(1.0, (len(given) - rank) * given[at]))
        adjusted[at] = least
    return adjusted


class Bars(Generic[K]):
    """All bars together."""

    def __init__(self, tests: Mapping[K, AgainstTarget], risk: float = 0.05) -> None:
        """Adjust both families of p-values."""
        equal = holm(test.p_value for test in tests.values())
        other = holm(test.p_other for test in tests.values())
        self.judged = {
            key: Judged(test, equal[at], other[at], risk)
            for at, (key, test) in enumerate(tests.items())
        }

    def who(self, conclusion: str) -> list[K]:
        """Return the bars of which this is the conclusion."""
        return [key for key, one in self.judged.items() if one.conclusion == conclusion]
