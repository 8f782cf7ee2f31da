"""Each control chart of ours and its bare twin, for the benchmark."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from stations.metrology import charts
from stations.metrology.charts import Baseline, Mask
from stations.metrology.numbers import Floats

Chart = Callable[[Floats, Baseline], object]


def bare_individuals(shots: Floats, base: Baseline) -> tuple[Floats, Mask]:
    """Return the points and which lie beyond."""
    half = 3 * base.sigma
    return shots, (shots > base.centre + half) | (shots < base.centre - half)


def bare_moving_range(shots: Floats, base: Baseline) -> tuple[Floats, Mask]:
    """Return the ranges and which lie beyond."""
    ranges = np.abs(np.diff(shots))
    return ranges, ranges > charts.RANGE_FACTOR * base.mean_range


def bare_ewma(shots: Floats, base: Baseline) -> tuple[Floats, Mask]:
    """Return the averages and which lie beyond; NumPy has no recursion, so SciPy's filter."""
    smooth = signal.lfilter([0.2], [1.0, -0.8], shots, zi=[0.8 * base.centre])[0]
    half = 3 * base.sigma * (0.2 / 1.8) ** 0.5
    return smooth, (smooth > base.centre + half) | (smooth < base.centre - half)


def bare_cusum(shots: Floats, base: Baseline) -> tuple[list[Floats], Mask]:
    """Return both sums and where either decides."""
    sums = []
    for sign in (1, -1):
        walk = np.cumsum(sign * (shots - base.centre) - 0.25)
        sums.append(walk - np.minimum(np.minimum.accumulate(walk), 0))
    return sums, (sums[0] > 2.5) | (sums[1] > 2.5)


def cusum(shots: Floats, base: Baseline) -> object:
    """Return our CUSUM with half a sigma's allowance and five sigma's decision."""
    return charts.cusum_chart(shots, target=base.centre, allowance=0.25, decision=2.5)


CHARTS: dict[str, tuple[Chart, Chart]] = {
    "individuals": (charts.individuals_chart, bare_individuals),
    "moving range": (charts.moving_range_chart, bare_moving_range),
    "EWMA": (charts.ewma_chart, bare_ewma),
    "CUSUM": (cusum, bare_cusum),
}
