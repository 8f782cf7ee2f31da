"""What a change does at a station whose shots were fitted, with what the fit leaves open."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import QuantityError, real
from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.fit import DIFFERENCE, Fit
from recipes.brewing.shot_model.parameters import Setup
from recipes.brewing.shot_model.simulate import SimulatedShot, simulate

# s, mL, g, % by mass, % of the dose
OUTCOMES = ("time", "water", "beverage", "tds", "extraction")
COVERAGE = 0.95
STEP = 0.25  # s between samples
DRAWN = ("beverage", "flow", "pressure", "strength")  # g, mL/s, bar, % by mass
POINTS = 60  # of a course
# Of the shot's time: the steps of the derivatives move its end by about two in a thousand.
NEARLY = 0.985


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


@dataclass(frozen=True)
class Course:
    """The mean shot over time [s]: values by name (`DRAWN`), with half the width of the interval of
    the mass in the cup [g]."""

    time: Floats
    values: dict[str, Floats]
    margin: Floats


@dataclass(frozen=True)
class Predicted:
    """The outcomes compared, and both shots over time."""

    compared: list[Compared]
    base: Course
    changed: Course


def predict(fit: Fit, base: Setup, changed: Setup, *, coarser: float = 1.0) -> list[Compared]:
    """The outcomes of `predict_courses` alone."""
    return predict_courses(fit, base, changed, coarser=coarser).compared


def predict_courses(fit: Fit, base: Setup, changed: Setup, *, coarser: float = 1.0) -> Predicted:
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
    first = _linear(fit, base, 1.0)
    other = _linear(fit, changed, coarser) if (changed, coarser) != (base, 1.0) else first
    reach = float(scipy.stats.t.ppf(0.5 + COVERAGE / 2, fit.dof))
    relative = fit.covariance / np.outer(fit.values, fit.values)

    def margins(turned: Floats) -> Floats:
        spread: Floats = np.sqrt(np.einsum("ij,jk,ik->i", turned, relative, turned))
        return reach * spread

    def estimates(values: Floats, turned: Floats) -> list[Estimate]:
        pairs = zip(values, margins(turned), strict=True)
        return [Estimate(float(value), float(margin)) for value, margin in pairs]

    def course(one: _Linear) -> Course:
        return Course(one.time, one.course, margins(one.mass_slopes))

    columns = (
        estimates(first.ends, first.slopes),
        estimates(other.ends, other.slopes),
        estimates(other.ends - first.ends, other.slopes - first.slopes),
    )
    compared = [Compared(name, *row) for name, *row in zip(OUTCOMES, *columns, strict=True)]
    return Predicted(compared, course(first), course(other))


@dataclass(frozen=True)
class _Linear:
    """A shot's outcomes and its course, with their derivatives over ln parameter."""

    ends: Floats
    slopes: Floats  # outcomes x parameters
    time: Floats
    course: dict[str, Floats]
    mass_slopes: Floats  # points x parameters


def _linear(fit: Fit, setup: Setup, coarser: float) -> _Linear:
    """By central differences, all of one pass: each shot is simulated once."""

    def pulled(values: Floats) -> SimulatedShot:
        fitted = fit.applied(setup, values)
        puck = replace(fitted.puck, grind=fitted.puck.grind * coarser)
        return _ended(replace(fitted, puck=puck))

    middle = pulled(fit.values)
    time = np.linspace(0.0, NEARLY * middle.time, POINTS)
    ends, masses = [], []
    for at in range(len(fit.names)):
        up, down = fit.values.copy(), fit.values.copy()
        up[at] *= np.exp(DIFFERENCE)
        down[at] *= np.exp(-DIFFERENCE)
        more, less = pulled(up), pulled(down)
        ends.append((_outcome(more) - _outcome(less)) / (2 * DIFFERENCE))
        masses.append((_mass(more, time) - _mass(less, time)) / (2 * DIFFERENCE))
    whole = np.append(time, middle.time)
    course = {name: np.interp(whole, middle.trace.time, getattr(middle.trace, name))
              for name in DRAWN}  # fmt: skip
    # At its very end a shot counts as just before: the steps of the derivatives move that moment.
    slopes = np.column_stack(masses)
    return _Linear(
        _outcome(middle), np.column_stack(ends), whole, course, np.vstack([slopes, slopes[-1]])
    )


def _ended(setup: Setup) -> SimulatedShot:
    shot = simulate(setup, step=STEP)
    if not shot.ended:
        raise QuantityError(f"ending by {setup.ending.by}", setup.ending.value, "a shot that ends")
    return shot


def _outcome(shot: SimulatedShot) -> Floats:
    return np.array([getattr(shot, name) for name in OUTCOMES])


def _mass(shot: SimulatedShot, time: Floats) -> Floats:
    found: Floats = np.interp(time, shot.trace.time, shot.trace.beverage)
    return found
