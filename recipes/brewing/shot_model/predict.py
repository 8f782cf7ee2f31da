"""What a change does at a station whose shots were fitted, with what the fit leaves open."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import QuantityError, real
from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.fit import DIFFERENCE, Fit
from recipes.brewing.shot_model.parameters import Setup
from recipes.brewing.shot_model.simulate import simulate

# s, mL, g, % by mass, % of the dose
OUTCOMES = ("time", "water", "beverage", "tds", "extraction")
COVERAGE = 0.95
STEP = 1.0  # s; what is told is the shot's end, which no sample changes


@dataclass(frozen=True)
class Estimate:
    """The mean of one quantity, and half the width of its interval."""

    value: float
    margin: float


@dataclass(frozen=True)
class Compared:
    """One quantity before and after a change, and the difference, which is known better."""

    name: str
    base: Estimate
    changed: Estimate
    difference: Estimate


def predict(fit: Fit, base: Setup, changed: Setup, *, coarser: float = 1.0) -> list[Compared]:
    """Both shots with the fitted parameters, the changed one ground `coarser` times as coarse; 95 %
    intervals of the means.

    Delta method: with f the outcome over the logarithms of the parameters and J its central
    differences, var f = J C J^T (JCGM 100, 5.2.2), C the fit's covariance; Student's t with the
    fit's degrees of freedom. The difference is f(changed) - f(base) with J(changed) - J(base), so
    that what both shots share cancels. Nothing of the model's own error is in it, nor how far one
    shot lies from the mean. Raises QuantityError naming coarser, a fitted parameter, or the ending
    if a shot would not end.
    """
    coarser = real("coarser", coarser, least=0.05, most=20.0)
    first, slopes = _linear(fit, base, 1.0)
    other, slopes_other = _linear(fit, changed, coarser)
    reach = float(scipy.stats.t.ppf(0.5 + COVERAGE / 2, fit.dof))
    relative = fit.covariance / np.outer(fit.values, fit.values)

    def estimates(values: Floats, turned: Floats) -> list[Estimate]:
        spread = np.sqrt(np.einsum("ij,jk,ik->i", turned, relative, turned))
        return [Estimate(float(v), reach * float(s)) for v, s in zip(values, spread, strict=True)]

    columns = (
        estimates(first, slopes),
        estimates(other, slopes_other),
        estimates(other - first, slopes_other - slopes),
    )
    return [Compared(name, *row) for name, *row in zip(OUTCOMES, *columns, strict=True)]


def _linear(fit: Fit, setup: Setup, coarser: float) -> tuple[Floats, Floats]:
    """The outcome, and d outcome / d ln parameter (outcomes x parameters)."""

    def outcome(values: Floats) -> Floats:
        fitted = fit.applied(setup, values)
        puck = replace(fitted.puck, grind=fitted.puck.grind * coarser)
        return _outcome(replace(fitted, puck=puck))

    columns = []
    for at in range(len(fit.names)):
        up, down = fit.values.copy(), fit.values.copy()
        up[at] *= np.exp(DIFFERENCE)
        down[at] *= np.exp(-DIFFERENCE)
        columns.append((outcome(up) - outcome(down)) / (2 * DIFFERENCE))
    return outcome(fit.values), np.column_stack(columns)


def _outcome(setup: Setup) -> Floats:
    shot = simulate(setup, step=STEP)
    if not shot.ended:
        raise QuantityError(f"ending by {setup.ending.by}", setup.ending.value, "a shot that ends")
    return np.array([getattr(shot, name) for name in OUTCOMES])
