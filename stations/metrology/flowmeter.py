"""A flow meter's pulses per millilitre, from runs of counted pulses and weighed water."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from stations.metrology.errors import BadValueError
from stations.metrology.fluid import STANDARD_PRESSURE, volume_of
from stations.metrology.line import StraightLine, fit_line, fit_through_origin
from stations.metrology.numbers import Floats, Real, number
from stations.metrology.outliers import Suspect, curvature_p_value, most_suspect

FEWEST_RUNS = 3
SIGNIFICANT = 0.05
SIX_DIGITS = 6
FEW_DOF = 4
LARGE_UNCERTAINTY = 0.01


@dataclass(frozen=True, slots=True)
class Run:
    """One calibration run: pulses counted, grams weighed, and the water's temperature [°C].

    The temperature is that of the water in the meter, cold, not that of the cup.
    """

    pulses: Real
    grams: Real
    temperature: Real


@dataclass(frozen=True, slots=True)
class FlowMeterFit:
    """The outcome of a calibration.

    ``pulses_per_millilitre`` is the slope K of pulses against volume through the origin [1/mL],
    ``uncertainty`` its standard uncertainty [1/mL] with ``dof`` degrees of freedom, ``spread``
    the residual standard deviation [pulses], ``repeatability`` the same as volume [mL].
    ``intercept`` [pulses] and its p-value come from a line that is free to miss the origin; they
    and ``curvature_p_value`` are None where the runs can't tell. ``suspect`` is the run farthest
    from the line, whether or not it is an outlier. ``numbers`` are those the runs go by.
    """

    volumes: tuple[float, ...]
    pulses: tuple[float, ...]
    line: StraightLine
    pulses_per_millilitre: float
    uncertainty: float
    dof: int
    spread: float
    repeatability: float
    intercept: float | None
    intercept_uncertainty: float | None
    intercept_p_value: float | None
    curvature_p_value: float | None
    suspect: Suspect | None
    numbers: tuple[int, ...]

    @property
    def outlier(self) -> int | None:
        """Return the number of the run that is an outlier at 5 %, or None."""
        place = self.outlier_place
        return None if place is None else self.numbers[place]

    @property
    def outlier_place(self) -> int | None:
        """Return where that run stands among those that count, from 0, or None."""
        if self.suspect is None or self.suspect.p_value >= SIGNIFICANT:
            return None
        return self.suspect.position - 1

    @property
    def expanded(self) -> float:
        """Return the expanded uncertainty of K (k = 2) [1/mL]."""
        return 2.0 * self.uncertainty

    def band(self, volume: Real) -> tuple[float, float, float]:
        """Return the fitted pulses at a volume [mL], and the 95 % limits for a further run."""
        middle = self.line.at(volume)
        half = self.line.factor() * self.line.prediction_uncertainty_at(volume)
        return middle, middle - half, middle + half

    def stored(self) -> tuple[Decimal, Decimal, Decimal]:
        """Return K [1/mL], u(K) [1/mL] and repeatability [mL] as decimals of six places."""
        kept = (self.pulses_per_millilitre, self.uncertainty, self.repeatability)
        slope, uncertainty, repeatability = (Decimal(f"{value:.{SIX_DIGITS}f}") for value in kept)
        return slope, uncertainty, repeatability


def fit_flow_meter(
    runs: Iterable[Run],
    *,
    pressure: Real = STANDARD_PRESSURE,
    air_temperature: Real = 20.0,
    relative_uncertainty: Real = 0.0,
    numbers: Sequence[int] | None = None,
) -> FlowMeterFit:
    """Fit pulses against the volume that went through the meter.

    Each mass becomes a volume by water density and air buoyancy (`weighing.volume_of`, with the
    air's ``pressure`` [hPa] and ``air_temperature`` [°C]). K is the least-squares slope through
    the origin, K = Σ N V / Σ V², u(K) = s / √Σ V²; ``relative_uncertainty`` adds what is common
    to all runs, such as the scale's calibration, as a fraction of K (JCGM 100:2008, 5.1.2).

    Raises BadValueError for fewer than 3 runs, a count or mass not above 0, a temperature at
    which water isn't liquid, and pressure or air outside the formulas' range; the field names
    the run ("run 3 grams").
    """
    counted = list(runs)
    called = tuple(numbers or range(1, len(counted) + 1))
    volumes, pulses = _measured(dict(zip(called, counted, strict=True)), pressure, air_temperature)
    shared = number("relative_uncertainty", relative_uncertainty, low=0.0, high=0.1)
    line = fit_through_origin(volumes, pulses)
    if line.slope <= 0.0 or not math.isfinite(line.slope):
        raise BadValueError("pulses", line.slope, "counts that rise with the volume")
    free = fit_line(volumes, pulses) if _tells_intercept(volumes) else None
    return _fitted(line, free, volumes, pulses, shared, called)


def _fitted(  # noqa: PLR0917 - what one fit is made of
    line: StraightLine, free: StraightLine | None, volumes: Floats, pulses: Floats,
    shared: float, called: tuple[int, ...],
) -> FlowMeterFit:  # fmt: skip
    """Return the outcome of a line through the origin and one that is free to miss it."""
    return FlowMeterFit(
        volumes=tuple(volumes.tolist()),
        pulses=tuple(pulses.tolist()),
        line=line,
        pulses_per_millilitre=line.slope,
        uncertainty=math.hypot(line.slope_uncertainty, line.slope * shared),
        dof=line.dof,
        spread=line.spread,
        repeatability=line.spread / line.slope,
        intercept=free.intercept if free else None,
        intercept_uncertainty=free.intercept_uncertainty if free else None,
        intercept_p_value=free.intercept_p_value if free else None,
        curvature_p_value=curvature_p_value(volumes, pulses) if free else None,
        suspect=most_suspect(line, float(pulses.max())),
        numbers=called,
    )


def _measured(
    runs: Mapping[int, Run], pressure: Real, air_temperature: Real
) -> tuple[Floats, Floats]:
    """Return the runs' volumes [mL] and counts; BadValueError naming the run."""
    if len(runs) < FEWEST_RUNS:
        raise BadValueError("runs", f"{len(runs)} runs", f"at least {FEWEST_RUNS}")
    volumes, pulses = np.empty(len(runs)), np.empty(len(runs))
    for place, (called, run) in enumerate(runs.items()):
        name = f"run {called}"
        pulses[place] = number(f"{name} pulses", run.pulses, "pulses", above=0.0, high=1e6)
        grams = number(f"{name} grams", run.grams, "g", above=0.0, high=1e5)
        try:
            volumes[place] = volume_of(
                grams, run.temperature, pressure=pressure, air_temperature=air_temperature
            )
        except BadValueError as error:
            if error.field != "temperature" or error.value is not run.temperature:
                raise
            raise BadValueError(f"{name} temperature", error.value, error.allowed) from None
    return volumes, pulses


def _tells_intercept(volumes: Floats) -> bool:
    """Return whether the volumes differ enough to tell an intercept from a slope."""
    return float(np.ptp(volumes)) > 0.05 * float(volumes.max())


# What a technician should know about a fit before accepting it.


def concerns(fit: FlowMeterFit) -> list[str]:
    """Return the fit's weak points as sentences, worst first; empty if there are none."""
    found = [_outlier(fit), _intercept(fit), _curvature(fit), _wide(fit), _few(fit)]
    return [sentence for sentence in found if sentence]


def _outlier(fit: FlowMeterFit) -> str:
    """Return a sentence that names the run that doesn't fit the others."""
    if fit.outlier_place is None or fit.suspect is None:
        return ""
    residual = fit.line.residuals[fit.outlier_place]
    return (
        f"Run {fit.outlier} does not fit the others: {residual:+.1f} pulses off the line "
        f"(p = {fit.suspect.p_value:.2g}, adjusted for {len(fit.volumes)} runs). "
        "Repeat it before leaving it out."
    )


def _intercept(fit: FlowMeterFit) -> str:
    """Return a sentence on a line that misses the origin, or on runs that can't tell."""
    if fit.intercept is None or fit.intercept_p_value is None:
        return (
            "All runs are of about one volume, so whether the line passes through zero and is "
            "straight can't be told. Add runs of half and of double that volume."
        )
    if fit.intercept_p_value >= SIGNIFICANT:
        return ""
    return (
        f"The line misses zero by {fit.intercept:+.1f} pulses (p = {fit.intercept_p_value:.2g}): "
        "look for water left in the cup or the line, or pulses counted before the water came."
    )


def _curvature(fit: FlowMeterFit) -> str:
    """Return a sentence on a meter that isn't linear."""
    if fit.curvature_p_value is None or fit.curvature_p_value >= SIGNIFICANT:
        return ""
    return (
        f"Pulses do not rise in a straight line with the volume (p = {fit.curvature_p_value:.2g}): "
        "calibrate near the volumes that the recipes use."
    )


def _wide(fit: FlowMeterFit) -> str:
    """Return a sentence on an uncertainty above 1 % of K (k = 2)."""
    share = fit.expanded / fit.pulses_per_millilitre
    if share <= LARGE_UNCERTAINTY:
        return ""
    return f"The calibration is uncertain by ±{share:.1%} (k = 2). More runs would narrow it."


def _few(fit: FlowMeterFit) -> str:
    """Return a sentence on too few runs for k = 2 to mean about 95 %."""
    if fit.dof >= FEW_DOF:
        return ""
    wide = fit.line.factor()
    return (
        f"With {len(fit.volumes)} runs, 95 % needs k = {wide:.1f}, not 2. "
        f"Make at least {FEW_DOF + 1} runs."
    )
