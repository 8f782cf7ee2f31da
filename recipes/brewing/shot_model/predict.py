"""What a change does at a station whose shots were fitted, with what the fit leaves open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.fit import DIFFERENCE, Fit
from recipes.brewing.shot_model.parameters import Setup
from recipes.brewing.shot_model.simulate import simulate

# s, mL, g, % by mass, % of the dose
TOLD = ("time", "water", "beverage", "tds", "extraction")
COVERAGE = 0.95
STEP = 1.0  # s; what is told is the shot's end, which no sample changes


@dataclass(frozen=True)
class Told:
    """The mean of one quantity, and half the width of its interval."""

    value: float
    margin: float


@dataclass(frozen=True)
class Compared:
    """One quantity before and after a change, and the difference, which is known better."""

    name: str
    base: Told
    changed: Told
    difference: Told


def predict(fit: Fit, base: Setup, changed: Setup) -> list[Compared]:
    """Both shots with the fitted parameters; 95 % intervals of the means.

    Delta method: with f the outcome over the logarithms of the parameters and J its central
    differences, var f = J C J^T (JCGM 100, 5.2.2), C the fit's covariance; Student's t with the
    fit's degrees of freedom. The difference is f(changed) - f(base) with J(changed) - J(base), so
    that what both shots share cancels. Nothing of the model's own error is in it, nor how far one
    shot lies from the mean. Raises QuantityError naming a fitted parameter or the ending, if a
    shot would not end.
    """
    first, other = _outcome(fit.applied(base)), _outcome(fit.applied(changed))
    slopes, slopes_other = _slopes(fit, base), _slopes(fit, changed)
    reach = float(scipy.stats.t.ppf(0.5 + COVERAGE / 2, fit.dof))
    relative = fit.covariance / np.outer(fit.values, fit.values)

    def told(values: Floats, turned: Floats) -> list[Told]:
        spread = np.sqrt(np.einsum("ij,jk,ik->i", turned, relative, turned))
        return [Told(float(v), reach * float(s)) for v, s in zip(values, spread, strict=True)]

    columns = (
        told(first, slopes), told(other, slopes_other), told(other - first, slopes_other - slopes),
    )  # fmt: skip
    return [Compared(name, *row) for name, *row in zip(TOLD, *columns, strict=True)]


def _slopes(fit: Fit, setup: Setup) -> Floats:
    """d outcome / d ln parameter, outcomes x parameters."""
    columns = []
    for at in range(len(fit.names)):
        up, down = fit.values.copy(), fit.values.copy()
        up[at] *= np.exp(DIFFERENCE)
        down[at] *= np.exp(-DIFFERENCE)
        change = _outcome(fit.applied(setup, up)) - _outcome(fit.applied(setup, down))
        columns.append(change / (2 * DIFFERENCE))
    return np.column_stack(columns)


def _outcome(setup: Setup) -> Floats:
    told = simulate(setup, step=STEP)
    if not told.ended:
        raise QuantityError(f"ending by {setup.ending.by}", setup.ending.value, "a shot that ends")
    return np.array([getattr(told, name) for name in TOLD])
