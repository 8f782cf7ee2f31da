"""The model fitted to a station's shots: parameters and their covariance, for predictions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import QuantityError, real
from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.parameters import Puck, Setup, ranges_of
from recipes.brewing.shot_model.reading import ENDS, ends_of, read_at_end, run_on

# What shots at a bar tell apart: how fast it runs, how that changes, what is kept, what dissolves.
FREE = ("grind", "absorbs", "slow_rate", "opening")
# Step of the derivatives in the logarithm. A scale's sample near the first drop has a kink there:
# two-sided and this wide, one such sample can not decide the covariance.
DIFFERENCE = 3e-3
EDGE = 4 * DIFFERENCE  # kept from the ends of a range, so that both sides can be tried
# A combination of parameters known to no better than a factor e^2 is not known.
LEAST_INFORMATION = 0.5
# A parameter is worth freeing where no combination is less sure than by about a quarter.
WORTH = 4.0
PASSES = 30  # of the search, at most
PUCK_FIELDS = frozenset(field.name for field in fields(Puck))


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard deviations of what is measured: time [s], mass [g], TDS [% by mass]."""

    time: float = 0.3
    mass: float = 0.2
    tds: float = 0.1

    def __post_init__(self) -> None:
        for name in ("time", "mass", "tds"):
            real(f"{name} noise", getattr(self, name), least=1e-6, most=100.0)


@dataclass(frozen=True)
class Pulled:
    """One shot as pulled: what was set, and what was measured of it (None: not measured).

    time [s] to the end; beverage [g]; tds [%]; times [s] and masses [g] of a scale's trace, up to
    the end.
    """

    setup: Setup
    time: float | None = None
    beverage: float | None = None
    tds: float | None = None
    times: Floats | None = None
    masses: Floats | None = None


@dataclass(frozen=True)
class Fit:
    """Fitted parameters, their covariance in the same order and own units, degrees of freedom.

    `misfit` is the reduced chi squared against the stated noise: near 1 if the noise was stated
    rightly and the model holds; the covariance is scaled by it.
    """

    names: tuple[str, ...]
    values: Floats
    covariance: Floats
    dof: int
    misfit: float

    @property
    def standard_errors(self) -> Floats:
        """Square roots of the covariance's diagonal."""
        errors: Floats = np.sqrt(np.diag(self.covariance))
        return errors

    def applied(self, setup: Setup, values: Floats | None = None) -> Setup:
        """The setup with the fitted parameters, to predict another shot at this station.

        Or with other values of the same parameters, to see what they change.
        """
        return _with(setup, self.names, self.values if values is None else values)


def fit_shots(
    shots: Sequence[Pulled], *, free: Sequence[str] = FREE, noise: Noise | None = None,
    passed: Callable[[], None] = lambda: None,
) -> Fit:  # fmt: skip
    """Least squares over all shots at once, in the logarithms of the free parameters.

    Covariance = misfit x (J^T J)^-1 of the residuals over their noise, carried from logarithms to
    values. Starts from the first shot's own puck and coffee; `passed` is called at each pass of the
    search, of which there are at most PASSES. Raises QuantityError naming shots
    (nothing or too little measured), free (an unknown name, or parameters these shots can not
    tell apart), times or masses.
    """
    names, spread = tuple(free), noise or Noise()
    start, low, high = _start(shots, names)
    measured = sum(_count(shot) for shot in shots)
    if measured <= len(names):
        raise QuantityError("shots", measured, f"more than {len(names)} measured values")

    residuals = _residuals(shots, names, spread)

    def slopes(logs: Floats) -> Floats:
        passed()
        return _slopes(residuals, logs)

    found = scipy.optimize.least_squares(
        residuals, start, jac=slopes, bounds=(low, high), x_scale=0.1, max_nfev=PASSES
    )
    dof = measured - len(names)
    misfit = 2.0 * float(found.cost) / dof
    values: Floats = np.exp(found.x)
    scale = np.diag(values)
    return Fit(names, values, misfit * scale @ _inverse(found.jac) @ scale, dof, misfit)


def tellable(
    shots: Sequence[Pulled], *, among: Sequence[str] = FREE, noise: Noise | None = None
) -> tuple[str, ...]:
    """Which of the parameters these shots can tell apart, taken in the order given.

    One is left out where freeing it would leave a combination of them known to no better than
    about a quarter, judged at the start by the residuals' slopes. Raises QuantityError as
    `fit_shots`.
    """
    names, spread = tuple(among), noise or Noise()
    start, _, _ = _start(shots, names)
    for shot in shots:
        _count(shot)
    slopes = _slopes(_residuals(shots, names, spread), start)
    kept: list[int] = []
    for at in range(len(names)):
        sizes = np.linalg.svd(slopes[:, [*kept, at]], compute_uv=False)
        if sizes.size > len(kept) and sizes[-1] >= WORTH:
            kept.append(at)
    return tuple(names[at] for at in kept)


def _slopes(residuals: Callable[[Floats], Floats], logs: Floats) -> Floats:
    """Central differences of the residuals, one column per parameter."""
    steps = np.eye(logs.size) * DIFFERENCE
    columns = [(residuals(logs + one) - residuals(logs - one)) / (2 * DIFFERENCE) for one in steps]
    return np.column_stack(columns)


def _start(shots: Sequence[Pulled], names: tuple[str, ...]) -> tuple[Floats, Floats, Floats]:
    if not shots:
        raise QuantityError("shots", 0, "one shot or more")
    if not names or len(set(names)) != len(names):
        raise QuantityError("free", names, "one name or more, each once")
    limits = np.array([ranges_of(name) for name in names])
    logs = np.log(np.maximum(limits, 1e-4))
    first = shots[0].setup
    values = [getattr(first.puck if name in PUCK_FIELDS else first.coffee, name) for name in names]
    start = np.clip(np.log(np.maximum(values, 1e-4)), logs[:, 0] + EDGE, logs[:, 1] - EDGE)
    return start, logs[:, 0] + EDGE / 2, logs[:, 1] - EDGE / 2


def _with(setup: Setup, names: Sequence[str], values: Floats) -> Setup:
    pairs = {name: float(value) for name, value in zip(names, values, strict=True)}
    puck = {name: value for name, value in pairs.items() if name in PUCK_FIELDS}
    coffee = {name: value for name, value in pairs.items() if name not in PUCK_FIELDS}
    return replace(setup, puck=replace(setup.puck, **puck), coffee=replace(setup.coffee, **coffee))


def _ends(shot: Pulled) -> tuple[float | None, ...]:
    return shot.time, shot.beverage, shot.tds


def _residuals(
    shots: Sequence[Pulled], names: Sequence[str], noise: Noise
) -> Callable[[Floats], Floats]:
    """(simulated - measured) / noise of all shots, as a function of the parameters' logarithms.

    First each shot's ends in turn, then the traces.
    """
    measured = np.array(
        [[np.nan if value is None else value for value in _ends(shot)] for shot in shots], float
    )
    spreads, taken = np.array([noise.time, noise.mass, noise.tds]), ~np.isnan(measured)

    def residuals(logs: Floats) -> Floats:
        setups = [_with(shot.setup, names, np.exp(logs)) for shot in shots]
        plain = [at for at, shot in enumerate(shots) if shot.times is None]
        made, traced = np.empty_like(measured), list[Floats]()
        made[plain] = ends_of([setups[at] for at in plain])
        for at, shot in enumerate(shots):
            if shot.times is not None and shot.masses is not None:
                trace = run_on(setups[at])
                made[at] = read_at_end(setups[at], trace)
                drawn = np.interp(shot.times, trace.time, trace.beverage)
                traced.append((drawn - shot.masses) / noise.mass)
        return np.concatenate([((made - measured) / spreads)[taken], *traced])

    return residuals


def _count(shot: Pulled) -> int:
    """Measured values of a shot, checked. Raises QuantityError naming a bad one."""
    measured = [
        real(name, value, least=0.0, most=2_000.0)
        for name, value in zip(ENDS, _ends(shot), strict=True)
        if value is not None
    ]
    if (shot.times is None) is not (shot.masses is None):
        raise QuantityError("masses", None, "masses with times, or neither")
    if shot.times is None or shot.masses is None:
        return len(measured)
    _check_trace(shot.times, shot.masses)
    return len(measured) + shot.times.size


def _check_trace(times: Floats, masses: Floats) -> None:
    for field, values in (("times", times), ("masses", masses)):
        sound = values.ndim == 1 and values.size == times.size and bool(np.isfinite(values).all())
        if not sound:
            raise QuantityError(field, values.shape, "finite samples, as many times as masses")
    if bool((np.diff(times) <= 0).any()) or (times.size and float(times[0]) < 0.0):
        raise QuantityError("times", "not rising", "rising times from 0 s on")


def _inverse(jacobian: Floats) -> Floats:
    """(J^T J)^-1; QuantityError where the shots can not tell the parameters apart."""
    _, sizes, turned = np.linalg.svd(jacobian, full_matrices=False)
    if sizes[-1] < LEAST_INFORMATION:
        raise QuantityError("free", "all of them", "parameters that these shots can tell apart")
    inverse: Floats = (turned.T / sizes**2) @ turned
    return inverse
