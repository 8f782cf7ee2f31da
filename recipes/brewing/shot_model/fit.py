"""The model fitted to a station's shots: parameters and their covariance, for predictions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import QuantityError, real
from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.parameters import EndsBy, Puck, Setup, ranges_of
from recipes.brewing.shot_model.simulate import Trace, simulate

# What shots at a bar tell apart: how fast it runs, how that changes, what is kept, what dissolves.
FREE = ("grind", "opening", "absorbs", "slow_rate")
STEP = 0.1  # s between samples
RUN_ON = 1.25
# Step of the derivatives in the logarithm. A scale's sample near the first drop has a kink there:
# two-sided and this wide, one such sample can not decide the covariance.
DIFFERENCE = 3e-3
EDGE = 4 * DIFFERENCE  # kept from the ends of a range, so that both sides can be tried
# A combination of parameters known to no better than a factor e^2 is not known.
LEAST_INFORMATION = 0.5
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

    def applied(self, setup: Setup) -> Setup:
        """The setup with the fitted parameters, to predict another shot at this station."""
        return _with(setup, self.names, self.values)


def fit_shots(
    shots: Sequence[Pulled], *, free: Sequence[str] = FREE, noise: Noise | None = None
) -> Fit:
    """Least squares over all shots at once, in the logarithms of the free parameters.

    Covariance = misfit x (J^T J)^-1 of the residuals over their noise, carried from logarithms to
    values. Starts from the first shot's own puck and coffee. Raises QuantityError naming shots
    (nothing or too little measured), free (an unknown name, or parameters these shots can not
    tell apart), times or masses.
    """
    names, spread = tuple(free), noise or Noise()
    start, low, high = _start(shots, names)
    measured = sum(_count(shot, spread) for shot in shots)
    if measured <= len(names):
        raise QuantityError("shots", measured, f"more than {len(names)} measured values")

    def residuals(logs: Floats) -> Floats:
        values = np.exp(logs)
        return np.concatenate(
            [_residuals(shot, _with(shot.setup, names, values), spread) for shot in shots]
        )

    found = scipy.optimize.least_squares(
        residuals, start, jac=lambda logs: _slopes(residuals, logs), bounds=(low, high), x_scale=0.1
    )
    dof = measured - len(names)
    misfit = 2.0 * float(found.cost) / dof
    values: Floats = np.exp(found.x)
    scale = np.diag(values)
    return Fit(names, values, misfit * scale @ _inverse(found.jac) @ scale, dof, misfit)


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


def _run_on(setup: Setup) -> Setup:
    """The same shot, let run past its end, so that what is read at the end moves smoothly."""
    later = replace(setup.ending, value=min(setup.ending.value * RUN_ON, 2_000.0))
    return replace(setup, ending=later, water=setup.taper_water or None)


def _read_at_end(setup: Setup, trace: Trace) -> dict[str, float]:
    """Time, beverage and TDS where the shot's own ending is reached."""
    scale = {EndsBy.VOLUME: trace.water, EndsBy.MASS: trace.beverage, EndsBy.TIME: trace.time}
    time = float(np.interp(setup.ending.value, scale[setup.ending.by], trace.time))
    beverage = float(np.interp(time, trace.time, trace.beverage))
    solids = float(np.interp(time, trace.time, trace.solids))
    return {"time": time, "beverage": beverage, "tds": 100.0 * solids / max(beverage, 1e-6)}


def _measured(shot: Pulled, noise: Noise) -> list[tuple[str, float, float]]:
    """(name, value, noise) of what was measured at the end. Raises QuantityError."""
    rows = (
        ("time", shot.time, noise.time),
        ("beverage", shot.beverage, noise.mass),
        ("tds", shot.tds, noise.tds),
    )
    return [
        (name, real(name, value, least=0.0, most=2_000.0), spread)
        for name, value, spread in rows
        if value is not None
    ]


def _residuals(shot: Pulled, setup: Setup, noise: Noise) -> Floats:
    """(simulated - measured) / noise."""
    trace = simulate(_run_on(setup), step=STEP).trace
    made = _read_at_end(setup, trace)
    ends = [(made[name] - value) / spread for name, value, spread in _measured(shot, noise)]
    if shot.times is None or shot.masses is None:
        return np.array(ends)
    drawn = np.interp(shot.times, trace.time, trace.beverage)
    return np.concatenate([ends, (drawn - shot.masses) / noise.mass])


def _count(shot: Pulled, noise: Noise) -> int:
    """Measured values of a shot, checked. Raises QuantityError naming a bad one."""
    if shot.times is None or shot.masses is None:
        return len(_measured(shot, noise))
    _check_trace(shot.times, shot.masses)
    return len(_measured(shot, noise)) + shot.times.size


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
