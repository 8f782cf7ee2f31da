"""Which run of a fit does not belong with the others, and whether a straight line is enough."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from stations.metrology.errors import BadValueError
from stations.metrology.line import StraightLine
from stations.metrology.numbers import Floats, number, series

# Residuals this small against the data are rounding of the arithmetic, not scatter.
ROUNDING = 1e-12


@dataclass(frozen=True, slots=True)
class Suspect:
    """The run farthest from the line.

    ``position`` counts from 1. ``studentised`` is its residual over the spread without it, and
    ``p_value`` is Bonferroni-adjusted for having looked at every run.
    """

    position: int
    studentised: float
    p_value: float


def most_suspect(line: StraightLine, scale: float) -> Suspect | None:
    """Return the run with the largest externally studentised residual, or None.

    t_i = e_i / (s_(i) √(1 - h_i)) with s_(i) the spread without run i; two-sided p times n
    (Cook & Weisberg 1982, 2.2.2). None with fewer than 2 degrees of freedom, or where the
    points lie on the line within rounding. ``scale`` is the largest |y|. Where the other runs
    lie exactly on a line, the p-value is 0 and the residual is given as 1e6. Raises BadValueError
    for a scale below 0.
    """
    scale = number("scale", scale, low=0.0)
    residuals, leverages = np.array(line.residuals), np.array(line.leverages)
    if line.dof < 2 or float(np.abs(residuals).max()) <= ROUNDING * scale:
        return None
    room = np.maximum(1.0 - leverages, ROUNDING)
    without = np.maximum(line.spread**2 * line.dof - residuals**2 / room, 0.0) / (line.dof - 1)
    size = np.abs(residuals) / np.sqrt(np.maximum(without, (ROUNDING * scale) ** 2) * room)
    place = int(size.argmax())
    studentised = min(float(size[place]), 1e6)
    p_value = 0.0 if studentised >= 1e6 else _bonferroni(studentised, line.dof - 1, residuals.size)
    return Suspect(place + 1, math.copysign(studentised, residuals[place]), p_value)


def curvature_p_value(x: Floats, y: Floats) -> float | None:
    """Return the p-value of "a quadratic term adds nothing", or None if it can't be tested.

    F test with 1 and n - 3 degrees of freedom, of the quadratic against the straight line with
    intercept. It needs at least 4 points at 3 different x. Raises BadValueError for values that
    aren't finite and unequal lengths.
    """
    x, y = series("x", x), series("y", y)
    if x.size != y.size:
        raise BadValueError("y", f"{y.size} values", f"{x.size}, as many as x")
    dof = x.size - 3
    if dof < 1 or np.unique(x).size < 3:
        return None
    # Centred and scaled, so that the three columns are far from collinear.
    z = (x - x.mean()) / np.ptp(x)
    straight = _squares(np.column_stack([np.ones_like(z), z]), y)
    curved = _squares(np.column_stack([np.ones_like(z), z, z * z]), y)
    noise = (ROUNDING * float(np.abs(y).max())) ** 2
    if straight <= noise * x.size:
        return 1.0
    ratio = (straight - curved) / max(curved / dof, noise)
    return float(scipy.stats.f.sf(max(ratio, 0.0), 1, dof))


def _bonferroni(studentised: float, dof: int, count: int) -> float:
    """Return the two-sided p-value times the number of runs, at most 1."""
    return min(1.0, float(2 * scipy.stats.t.sf(studentised, dof)) * count)


def _squares(columns: Floats, y: Floats) -> float:
    """Return the residual sum of squares of a least-squares fit on the given columns."""
    solution = np.linalg.lstsq(columns, y, rcond=None)[0]
    residuals = y - columns @ solution
    return float(residuals @ residuals)
