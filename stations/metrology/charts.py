"""Control charts of shots: individuals and moving range, EWMA, tabular CUSUM.

Limits come from a frozen baseline, so that a drifting process can't widen its own limits.
Everything is one pass over an array: a million shots take some hundredths of a second.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its parts load when first used: together they take seconds

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import SMALLEST, Floats, Real, number, series

Mask = npt.NDArray[np.bool_]

D2_OF_TWO = 2.0 / math.sqrt(math.pi)  # mean range of two, in standard deviations
D3_OF_TWO = math.sqrt(2.0 - 4.0 / math.pi)
RANGE_FACTOR = 1.0 + 3.0 * D3_OF_TWO / D2_OF_TWO  # D4 for n = 2: 3.2665
USUAL_BASELINE = 20  # common practice, no source
WIDTH = 3.0


@dataclass(frozen=True, slots=True)
class Baseline:
    """What a chart's limits are drawn from: centre, sigma [the data's unit], and shots behind it.

    ``mean_range`` is the mean absolute difference of successive shots.
    """

    centre: float
    sigma: float
    count: int
    mean_range: float

    @property
    def provisional(self) -> bool:
        """Return whether the baseline has fewer shots than the usual 20."""
        return self.count < USUAL_BASELINE


@dataclass(frozen=True, slots=True)
class Chart:
    """One control chart: what is plotted, its centre, limits, and which points lie beyond.

    ``beyond`` uses strict inequalities: a point on a limit is not a signal. ``signals`` are the
    positions of those points, counted from 1.
    """

    plotted: Floats
    centre: float
    lower: Floats
    upper: Floats
    beyond: Mask

    @property
    def signals(self) -> list[int]:
        """Return the positions (from 1) of the points beyond a limit."""
        return [int(place) + 1 for place in np.flatnonzero(self.beyond)]


@dataclass(frozen=True, slots=True)
class Cusum:
    """A tabular CUSUM: the sums above and below target, and where either exceeds h."""

    high: Floats
    low: Floats
    decision: float
    beyond: Mask

    @property
    def signals(self) -> list[int]:
        """Return the positions (from 1) at which a sum exceeds the decision interval."""
        return [int(place) + 1 for place in np.flatnonzero(self.beyond)]


def freeze_baseline(values: Iterable[Real] | Floats, gaps: Collection[int] = ()) -> Baseline:
    """Return centre x̄ and sigma MR̄/d2 of a stretch of shots, d2 = 2/√π (ISO 7870-2).

    ``gaps`` are the positions (from 1) of values that don't follow the one before, since one
    between them was left out: no moving range bridges that. SAS/QC (IRCHART) likewise averages the
    non-missing ranges; else common practice, no source. Raises BadValueError for fewer than 2
    values, and where no two that follow one another differ: no limits can be drawn from shots that
    show no spread.
    """
    array = series("baseline", values, at_least=2)
    ranges = _ranges(array, gaps)
    mean_range = float(ranges.mean()) if ranges.size else 0.0
    if mean_range < SMALLEST:
        raise BadValueError("baseline", f"{array.size} equal values", "values that differ")
    return Baseline(float(array.mean()), mean_range / D2_OF_TWO, array.size, mean_range)


def individuals_chart(values: Iterable[Real] | Floats, baseline: Baseline) -> Chart:
    """Return the individuals chart: limits at the baseline's centre ± 3 sigma.

    Raises BadValueError for values that aren't finite.
    """
    array = series("values", values)
    half = WIDTH * baseline.sigma
    return _flat(array, baseline.centre, baseline.centre - half, baseline.centre + half)


def moving_range_chart(
    values: Iterable[Real] | Floats, baseline: Baseline, gaps: Collection[int] = ()
) -> Chart:
    """Return the chart of |x_i - x_(i-1)|: limits 0 and D4 MR̄ of the baseline (D4 = 3.267).

    Its points belong to the values at `range_places`: one fewer than values, and none that bridges
    a gap. Raises BadValueError for fewer than 2 values.
    """
    array = series("values", values, at_least=2)
    ranges = _ranges(array, gaps)
    return _flat(ranges, baseline.mean_range, 0.0, RANGE_FACTOR * baseline.mean_range)


def range_places(count: int, gaps: Collection[int] = ()) -> list[int]:
    """Return the positions (from 1) of the values that have a moving range to the one before."""
    return [at for at in range(2, count + 1) if at not in gaps]


def _ranges(array: Floats, gaps: Collection[int]) -> Floats:
    """Return the ranges of values that follow one another."""
    places = np.array(range_places(array.size, frozenset(gaps)), dtype=np.int64)
    ranges: Floats = np.abs(array[places - 1] - array[places - 2])
    return ranges


def ewma_chart(
    values: Iterable[Real] | Floats,
    baseline: Baseline,
    *,
    weight: Real = 0.2,
    width: Real = WIDTH,
    settled: bool = True,
) -> Chart:
    """Return the EWMA z_i = λ x_i + (1 - λ) z_(i-1), z_0 the baseline's centre.

    Limits centre ± L sigma √[λ/(2-λ) (1 - (1-λ)^2i)]; with ``settled`` the last factor is left out,
    as in NIST/SEMATECH 6.3.2.4. ``weight`` is λ, ``width`` is L. Raises BadValueError for λ
    outside 0 to 1 and a width not above 0.
    """
    array = series("values", values)
    share = number("weight", weight, high=1.0, above=0.0)
    sigmas = number("width", width, high=10.0, above=0.0)
    start = np.array([(1.0 - share) * baseline.centre])
    smooth = scipy.signal.lfilter([share], [1.0, share - 1.0], array, zi=start)[0]
    half = sigmas * baseline.sigma * math.sqrt(share / (2.0 - share))
    if settled:
        return _flat(smooth, baseline.centre, baseline.centre - half, baseline.centre + half)
    halves = half * np.sqrt(-np.expm1(2.0 * np.arange(1, array.size + 1) * _log(1.0 - share)))
    lower, upper = baseline.centre - halves, baseline.centre + halves
    return Chart(smooth, baseline.centre, lower, upper, (smooth > upper) | (smooth < lower))


def cusum_chart(
    values: Iterable[Real] | Floats, *, target: Real, allowance: Real, decision: Real
) -> Cusum:
    """Return the tabular CUSUM (NIST/SEMATECH 6.3.2.3), k and h in the data's unit.

    S_hi = max(0, S_hi + x - target - k), S_lo = max(0, S_lo + target - k - x), a signal where
    either exceeds h. ``allowance`` is k (often half the shift to be found), ``decision`` is h
    (often 4 or 5 sigma). Raises BadValueError for a negative k and an h not above 0.
    """
    array = series("values", values)
    aim = number("target", target)
    slack = number("allowance", allowance, low=0.0)
    limit = number("decision", decision, above=0.0)
    centred = array - aim
    high, low = _reflected(centred - slack), _reflected(-centred - slack)
    return Cusum(high, low, limit, (high > limit) | (low > limit))


def _reflected(steps: Floats) -> Floats:
    """Return the walk over ``steps`` that is held at or above zero.

    S_i = C_i - min(0, C_1 … C_i) with C the cumulative sum: the same as the step-by-step
    maximum, without a loop.
    """
    walk = np.cumsum(steps)
    lowest = np.minimum.accumulate(walk)
    np.minimum(lowest, 0.0, out=lowest)
    walk -= lowest
    return walk


def _flat(plotted: Floats, centre: float, lower: float, upper: float) -> Chart:
    """Return a chart with straight limits."""
    shape = plotted.shape
    beyond = (plotted > upper) | (plotted < lower)
    return Chart(
        plotted, centre, np.broadcast_to(lower, shape), np.broadcast_to(upper, shape), beyond
    )


def _log(value: float) -> float:
    """Return the logarithm, with that of 0 as far below any that matters."""
    return math.log(value) if value > 0.0 else -1e4
