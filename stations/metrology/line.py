"""Straight lines by least squares: coefficients, their uncertainty, and prediction bands."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Floats, Real, number, series


@dataclass(frozen=True, slots=True)
class StraightLine:
    """A fitted line y = intercept + slope x, in the units of the data.

    ``spread`` is the residual standard deviation with ``dof`` degrees of freedom, ``covariance``
    that of intercept and slope. A line through the origin has intercept 0 without uncertainty.
    """

    intercept: float
    slope: float
    intercept_uncertainty: float
    slope_uncertainty: float
    covariance: float
    spread: float
    dof: int
    r_squared: float
    leverages: tuple[float, ...]
    residuals: tuple[float, ...]

    def at(self, x: Real) -> float:
        """Return the line's value at x. Raises BadValueError for x that isn't finite."""
        return self.intercept + self.slope * number("x", x)

    def uncertainty_at(self, x: Real) -> float:
        """Return the standard uncertainty of the line's value at x.

        u² = u(a)² + 2 x cov(a, b) + x² u(b)² (JCGM 100:2008, H.3.4).
        """
        place = number("x", x)
        variance = self.intercept_uncertainty**2 + 2 * place * self.covariance
        return math.sqrt(max(variance + (place * self.slope_uncertainty) ** 2, 0.0))

    def prediction_uncertainty_at(self, x: Real) -> float:
        """Return the standard uncertainty of one further observation at x: √(u² + s²)."""
        return math.hypot(self.uncertainty_at(x), self.spread)

    def factor(self, confidence: Real = 0.95) -> float:
        """Return Student's t for a two-sided interval with this line's degrees of freedom."""
        level = number("confidence", confidence, high=0.9999, above=0.0)
        return float(scipy.stats.t.ppf(0.5 + level / 2, self.dof))

    @property
    def intercept_p_value(self) -> float:
        """Return the two-sided p-value of "the intercept is zero" by Student's t."""
        if self.intercept_uncertainty == 0.0:
            return 1.0 if self.intercept == 0.0 else 0.0
        return float(
            2 * scipy.stats.t.sf(abs(self.intercept) / self.intercept_uncertainty, self.dof)
        )


def fit_line(x: Floats, y: Floats) -> StraightLine:
    """Fit y = a + b x by ordinary least squares, about the mean of x for accuracy.

    u(b) = s/√Sxx, u(a) = s √(1/n + x̄²/Sxx), cov(a, b) = -s² x̄/Sxx (JCGM 100:2008, H.3).
    Raises BadValueError for fewer than 3 points, unequal lengths, or x all the same.
    """
    xs, ys = _points(x, y, at_least=3)
    mean_x, mean_y = float(xs.mean()), float(ys.mean())
    dx, dy = xs - mean_x, ys - mean_y
    sxx = float(dx @ dx)
    if sxx == 0.0 or np.ptp(xs) < 1e-12 * float(np.abs(xs).max()):
        raise BadValueError("x", mean_x, "at least two different values")
    slope = float(dx @ dy) / sxx
    residuals = dy - slope * dx
    dof = xs.size - 2
    squares = float(residuals @ residuals)
    spread = math.sqrt(squares / dof)
    total = float(dy @ dy)
    return StraightLine(
        intercept=mean_y - slope * mean_x,
        slope=slope,
        intercept_uncertainty=spread * math.sqrt(1 / xs.size + mean_x**2 / sxx),
        slope_uncertainty=spread / math.sqrt(sxx),
        covariance=-(spread**2) * mean_x / sxx,
        spread=spread,
        dof=dof,
        r_squared=1.0 - squares / total if total else 1.0,
        leverages=tuple((1 / xs.size + dx * dx / sxx).tolist()),
        residuals=tuple(residuals.tolist()),
    )


def fit_through_origin(x: Floats, y: Floats) -> StraightLine:
    """Fit y = b x by least squares: b = Σxy/Σx², u(b) = s/√Σx², n - 1 degrees of freedom.

    R² is about zero, not about the mean, as is usual without an intercept. Raises
    BadValueError for fewer than 2 points, unequal lengths, or x all zero.
    """
    xs, ys = _points(x, y, at_least=2)
    sxx = float(xs @ xs)
    if sxx == 0.0:
        raise BadValueError("x", 0.0, "at least one value that isn't 0")
    slope = float(xs @ ys) / sxx
    residuals = ys - slope * xs
    dof = xs.size - 1
    squares = float(residuals @ residuals)
    spread = math.sqrt(squares / dof)
    total = float(ys @ ys)
    return StraightLine(
        intercept=0.0,
        slope=slope,
        intercept_uncertainty=0.0,
        slope_uncertainty=spread / math.sqrt(sxx),
        covariance=0.0,
        spread=spread,
        dof=dof,
        r_squared=1.0 - squares / total if total else 1.0,
        leverages=tuple((xs * xs / sxx).tolist()),
        residuals=tuple(residuals.tolist()),
    )


def _points(x: Floats, y: Floats, *, at_least: int) -> tuple[Floats, Floats]:
    """Return both coordinates as arrays of one length."""
    xs, ys = series("x", x, at_least=at_least), series("y", y, at_least=at_least)
    if xs.size != ys.size:
        raise BadValueError("y", f"{ys.size} values", f"as many as x has, {xs.size}")
    return xs, ys
