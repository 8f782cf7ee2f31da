"""Do two stations pour the same? Two one-sided tests against a margin in the recipe's unit."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import SMALLEST, Floats, Real, number, series

MOST_SHOTS = 100_000


@dataclass(frozen=True, slots=True)
class Sample:
    """Count, mean and standard deviation of one station's shots."""

    count: int
    mean: float
    spread: float


@dataclass(frozen=True, slots=True)
class Equivalence:
    """The outcome of a Welch TOST: first station less second, in the recipe's unit.

    ``t_low`` and ``p_low`` test "the difference is not above the lower margin", ``t_high`` and
    ``p_high`` "not below the upper"; ``interval`` is the one of confidence 1 - 2 risk that decides.
    """

    difference: float
    standard_error: float
    dof: float
    low_margin: float
    high_margin: float
    t_low: float
    t_high: float
    p_low: float
    p_high: float
    interval: tuple[float, float]
    risk: float

    @property
    def p_value(self) -> float:
        """Return the p-value of the whole test: the larger of the two."""
        return max(self.p_low, self.p_high)

    @property
    def conclusion(self) -> str:
        """Return "equivalent", "different" or "not shown yet".

        Different means that the whole interval lies beyond a margin.
        """
        if self.p_value < self.risk:
            return "equivalent"
        low, high = self.interval
        outside = low > self.high_margin or high < self.low_margin
        return "different" if outside else "not shown yet"

    def interval_at(self, confidence: Real) -> tuple[float, float]:
        """Return the two-sided confidence interval of the difference at another level."""
        level = number("confidence", confidence, above=0.0, high=0.9999)
        half = float(scipy.stats.t.ppf(0.5 + level / 2.0, self.dof)) * self.standard_error
        return self.difference - half, self.difference + half


def equivalence(
    first: Iterable[Real] | Floats,
    second: Iterable[Real] | Floats,
    *,
    low_margin: Real,
    high_margin: Real,
    risk: Real = 0.05,
) -> Equivalence:
    """Return the Welch TOST of two stations' shots (Schuirmann 1987; Welch 1947).

    Raises BadValueError for fewer than 2 shots at either, margins that don't enclose a range, a
    risk outside 0 to 0.5, and where neither station's shots show any spread.
    """
    one, other = _sample("first", first), _sample("second", second)
    return equivalence_from(one, other, low_margin=low_margin, high_margin=high_margin, risk=risk)


def ratio_equivalence(
    first: Iterable[Real] | Floats,
    second: Iterable[Real] | Floats,
    *,
    low_margin: Real = 0.8,
    high_margin: Real = 1.25,
    risk: Real = 0.05,
) -> Equivalence:
    """Return the Welch TOST of the ratio of geometric means: of logarithms, results as logarithms.

    The margins are ratios. Raises BadValueError for values or margins not above 0 and as
    `equivalence` does.
    """
    logs = []
    for name, values in (("first", first), ("second", second)):
        array = series(name, values, at_least=2)
        if (array <= 0.0).any():
            raise BadValueError(name, float(array.min()), "values above 0")
        logs.append(np.log(array))
    low = math.log(number("low_margin", low_margin, above=0.0))
    high = math.log(number("high_margin", high_margin, above=0.0))
    return equivalence(logs[0], logs[1], low_margin=low, high_margin=high, risk=risk)


def equivalence_from(
    first: Sample, second: Sample, *, low_margin: Real, high_margin: Real, risk: Real = 0.05
) -> Equivalence:
    """Return what `equivalence` does, from counts, means and standard deviations."""
    low, high = number("low_margin", low_margin), number("high_margin", high_margin)
    alpha = number("risk", risk, above=0.0, high=0.4999)
    if low >= high:
        raise BadValueError("low_margin", low_margin, f"below the upper margin, {high:g}")
    variances = [_variance("first", first), _variance("second", second)]
    error = math.sqrt(sum(variances))
    if error < SMALLEST:
        raise BadValueError("spread", error, "shots that differ at one station at least")
    shares = [(v / error**2) ** 2 for v in variances]
    dof = 1.0 / (shares[0] / (first.count - 1) + shares[1] / (second.count - 1))
    difference = number("mean", first.mean) - number("mean", second.mean)
    t_low, t_high = (difference - low) / error, (difference - high) / error
    half = float(scipy.stats.t.isf(alpha, dof)) * error
    return Equivalence(
        difference=difference,
        standard_error=error,
        dof=dof,
        low_margin=low,
        high_margin=high,
        t_low=t_low,
        t_high=t_high,
        p_low=float(scipy.stats.t.sf(t_low, dof)),
        p_high=float(scipy.stats.t.cdf(t_high, dof)),
        interval=(difference - half, difference + half),
        risk=alpha,
    )


def equivalence_power(count: int, margin: Real, spread: Real, *, risk: Real = 0.05) -> float:
    """Return the chance to show equivalence with ``count`` shots at each of two equal stations.

    2 P(T > t) - 1 with T noncentral t of 2n - 2 degrees of freedom and noncentrality
    (margin/spread) √(n/2); 0 where that is negative. Raises BadValueError for a count below 2,
    a margin or spread not above 0.
    """
    shots = number("count", count, low=2.0, high=1e9)
    width = number("margin", margin, above=0.0) / number("spread", spread, above=0.0)
    alpha = number("risk", risk, above=0.0, high=0.4999)
    dof = 2.0 * shots - 2.0
    # Beyond 30 standard errors SciPy's noncentral t gives up, and the answer is 1.
    shift = min(width * math.sqrt(shots / 2.0), 30.0)
    above = float(scipy.stats.nct.sf(scipy.stats.t.isf(alpha, dof), dof, shift))
    return min(max(2.0 * above - 1.0, 0.0), 1.0)


def shots_needed(margin: Real, spread: Real, *, power: Real = 0.8, risk: Real = 0.05) -> int | None:
    """Return the fewest shots at each station for that power, or None if above 100,000.

    For stations that truly pour alike; more if they differ. Raises BadValueError as
    `equivalence_power` does and for a power outside 0 to 1.
    """
    wanted = number("power", power, above=0.0, high=0.9999)
    low, high = 1, 2
    while equivalence_power(high, margin, spread, risk=risk) < wanted:
        low, high = high, high * 2
        if low >= MOST_SHOTS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        enough = equivalence_power(middle, margin, spread, risk=risk) >= wanted
        low, high = (low, middle) if enough else (middle, high)
    return high


def _sample(field: str, values: Iterable[Real] | Floats) -> Sample:
    """Return count, mean and spread of one station's shots."""
    array = series(field, values, at_least=2)
    return Sample(
        array.size, float(array.mean()), float(array.std(ddof=1)) if np.ptp(array) else 0.0
    )


def _variance(field: str, sample: Sample) -> float:
    """Return the variance of a sample's mean."""
    count = number(f"{field} count", sample.count, low=2.0, high=1e12)
    spread = number(f"{field} spread", sample.spread, low=0.0)
    return spread**2 / count
