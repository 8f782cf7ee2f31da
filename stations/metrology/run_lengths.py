"""How long a CUSUM runs until it signals: on average, without a cause and with one.

Everything is in standard deviations of what is charted, and in shots.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Floats, Real, number

NODES = 96  # of the quadrature; twice as many change the seventh digit of run lengths below 1e6
SIEGMUND = 1.166  # what a walk overshoots its border by, both borders together
TIGHT = 1e-9
LONGEST = 1e12  # shots: never
MOST_POWER = 700.0  # e to more is no float


def average_run_length(
    decision: Real, *, allowance: Real = 0.5, shift: Real = 0.0, winsor: Real = math.inf
) -> float:
    """Return the average run length [shots] of a one-sided CUSUM that begins at 0.

    S = max(0, S + u - k), u normal with mean ``shift`` and standard deviation 1, cut to ±``winsor``
    first; a signal where S > h, ``decision`` is h and ``allowance`` is k. The integral equation of
    Page (1954), solved at Gauss-Legendre nodes as Goel and Wu (Technometrics 13, 1971, 221-230)
    do, with the atoms that cutting makes taken on by linear interpolation. Raises BadValueError
    for an h not above 0 and a ``winsor`` not above k.
    """
    limit = number("decision", decision, above=0.0, high=100.0)
    slack = number("allowance", allowance, low=0.0, high=10.0)
    mean = number("shift", shift, low=-10.0, high=10.0)
    cut = float(winsor) if isinstance(winsor, (int, float)) else 0.0
    if not cut > slack:
        raise BadValueError("winsor", winsor, "above the allowance")
    if math.isinf(cut):
        return _by_quadrature(limit, slack, mean)
    return _by_chain(limit, slack, mean, cut)


def two_sided(upper: Real, lower: Real) -> float:
    """Return the run length of two one-sided charts together: 1/L = 1/L₊ + 1/L₋ (Kemp, 1971).

    Raises BadValueError for a length below 1.
    """
    lengths = (number("upper", upper, low=1.0), number("lower", lower, low=1.0))
    return 1.0 / sum(1.0 / each for each in lengths)


def siegmund(decision: Real, *, allowance: Real = 0.5, shift: Real = 0.0) -> float:
    """Return Siegmund's approximation of the one-sided run length, within some per cent.

    (e^(-2Δb) + 2Δb - 1) / 2Δ², Δ = shift - k, b = h + 1.166; b² where Δ is 0 (Siegmund, Sequential
    Analysis, 1985).
    """
    border = number("decision", decision, above=0.0, high=100.0) + SIEGMUND
    drift = number("shift", shift, low=-10.0, high=10.0)
    drift -= number("allowance", allowance, low=0.0, high=10.0)
    if -2.0 * drift * border > MOST_POWER:
        return math.inf
    if abs(drift) < TIGHT:
        return border * border
    return (math.exp(-2.0 * drift * border) + 2.0 * drift * border - 1.0) / (2.0 * drift * drift)


def decision_for(run_length: Real, *, allowance: float = 0.5, winsor: float = math.inf) -> float:
    """Return the h whose one-sided average run length without a cause is that [shots].

    Raises BadValueError for a run length not from 10 to 1e8, and as `average_run_length` does.
    """
    return _decision_for(number("run_length", run_length, low=10.0, high=1e8), allowance, winsor)


@cache
def _decision_for(wanted: float, allowance: float, winsor: float) -> float:
    """To about 0.3 %: what cutting heaps up falls on one cell of the chain or the next."""

    def off(decision: float) -> float:
        found = average_run_length(decision, allowance=allowance, winsor=winsor)
        return math.log(found / wanted)

    return float(scipy.optimize.brentq(off, 0.01, 40.0, xtol=1e-4))


def _by_quadrature(limit: float, slack: float, mean: float) -> float:
    """L(s) = 1 + L(0) Φ(k - s - μ) + ∫ L(x) φ(x - s + k - μ) dx over 0 to h."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    at = np.concatenate(([0.0], limit * (nodes + 1.0) / 2.0))
    shares = np.concatenate(([0.0], limit * weights / 2.0))
    steps = at[None, :] - at[:, None] + slack - mean
    kernel = np.exp(-0.5 * steps**2) / math.sqrt(2.0 * math.pi) * shares[None, :]
    kernel[:, 0] += scipy.stats.norm.cdf(slack - mean - at)
    return _from_zero(kernel)


STATES = 400


@cache
def _by_chain(limit: float, slack: float, mean: float, cut: float) -> float:
    """Brook and Evans (Biometrika 59, 1972, 539-549): a chain over a fine grid of 0 to h.

    A cell holds what comes within half a width of its middle; the first is [0, half a width].
    """
    width = limit / (STATES - 0.5)
    at = width * np.arange(STATES)
    edges = np.concatenate(([-np.inf], at + width / 2.0))
    steps = edges[None, :] - at[:, None] + slack
    below = np.where(steps >= cut, 1.0, scipy.stats.norm.cdf(steps - mean))
    below = np.where(steps < -cut, 0.0, below)
    return _from_zero(np.diff(below, axis=1))


def _from_zero(kernel: Floats) -> float:
    """The run length from 0, of the chances to go on from each place to each.

    Beyond `LONGEST` the equations are as good as singular, and what they give is noise.
    """
    system = np.eye(len(kernel)) - kernel
    try:
        found = float(np.linalg.solve(system, np.ones(len(kernel)))[0])
    except np.linalg.LinAlgError:
        return LONGEST
    return found if 1.0 <= found <= LONGEST else LONGEST
