"""Whether a station's shots stay inside the recipe's tolerance: Cp, Cpk, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Floats, Real, number, series

USUAL_GOAL = 1.33  # common practice, no source
FEW_SHOTS = 10
MINUS = "\N{MINUS SIGN}"  # sentences are for people


@dataclass(frozen=True, slots=True)
class Capability:
    """Process capability against a tolerance, with confidence intervals.

    ``cp`` and its interval are None with a one-sided tolerance. ``spread`` is the standard
    deviation of all shots, ``goal`` the Cpk asked for. ``conclusion`` is one of "capable", "not
    capable", "not known yet"; ``sentence`` says it with the figures.
    """

    count: int
    mean: float
    spread: float
    cp: float | None
    cp_interval: tuple[float, float] | None
    cpk: float
    cpk_interval: tuple[float, float]
    goal: float
    confidence: float
    shots_needed: int | None

    @property
    def conclusion(self) -> str:
        """Return what the interval of Cpk allows one to say about the goal."""
        low, high = self.cpk_interval
        if low >= self.goal:
            return "capable"
        return "not capable" if high < self.goal else "not known yet"

    @property
    def sentence(self) -> str:
        """Return the conclusion in words, with what is missing for one."""
        low, high = self.cpk_interval
        ends = " and ".join(f"{end:.2f}".replace("-", MINUS) for end in (low, high))
        sure = f"Cpk is between {ends} ({100 * self.confidence:g} % confidence)"
        text = f"From {self.count} shots, {sure}: {self.conclusion} against {self.goal:g}."
        if self.count < FEW_SHOTS:
            text += f" With fewer than {FEW_SHOTS} shots the interval itself is rough."
        if self.shots_needed is not None:
            text += f" If it stays as it is, about {self.shots_needed} shots would show it."
        return text


def capability(
    values: Iterable[Real] | Floats,
    *,
    lower: Real | None,
    upper: Real | None,
    goal: Real = USUAL_GOAL,
    confidence: Real = 0.95,
) -> Capability:
    """Return Cp and Cpk of shots against limits [the data's unit], with two-sided intervals.

    Spread and mean are those of ``values``; they should come from a stretch without signals.
    Raises BadValueError for fewer than 2 values or equal values (no spread to judge by), as well
    as for limits that are both missing or upside down.
    """
    array = series("values", values, at_least=2)
    spread = float(array.std(ddof=1))
    if np.ptp(array) == 0.0:
        raise BadValueError("values", f"{array.size} equal values", "values that differ")
    return capability_from(
        array.size,
        float(array.mean()),
        spread,
        lower=lower,
        upper=upper,
        goal=goal,
        confidence=confidence,
    )


def capability_from(
    count: int,
    mean: Real,
    spread: Real,
    *,
    lower: Real | None,
    upper: Real | None,
    goal: Real = USUAL_GOAL,
    confidence: Real = 0.95,
) -> Capability:
    """Return what `capability` does, from count, mean and standard deviation.

    Cp = (U - L)/6s, Cpk = min(U - x̄, x̄ - L)/3s (NIST/SEMATECH 6.1.6). Interval of Cp:
    Cp √(χ²/(n-1)); of Cpk: Cpk ± z √(1/9n + Cpk²/2(n-1)) (Bissell 1990). Raises BadValueError
    for a spread not above 0 and as `capability` does.
    """
    shots = int(number("count", count, low=2.0, high=1e12))
    middle, sigma = number("mean", mean), number("spread", spread, above=0.0)
    wanted = number("goal", goal, above=0.0, high=10.0)
    sure = number("confidence", confidence, above=0.0, high=0.9999)
    low, high = _limits(lower, upper)
    sides = [high - middle] * (high < math.inf) + [middle - low] * (low > -math.inf)
    cpk = min(sides) / (3.0 * sigma)
    cp = (high - low) / (6.0 * sigma) if len(sides) == 2 else None
    return Capability(
        count=shots,
        mean=middle,
        spread=sigma,
        cp=cp,
        cp_interval=None if cp is None else _cp_interval(cp, shots, sure),
        cpk=cpk,
        cpk_interval=_cpk_interval(cpk, shots, sure),
        goal=wanted,
        confidence=sure,
        shots_needed=_shots_needed(cpk, shots, wanted, sure),
    )


def _limits(lower: Real | None, upper: Real | None) -> tuple[float, float]:
    """Return the limits, infinite where there is none."""
    if lower is None and upper is None:
        raise BadValueError("limits", None, "a lower limit, an upper limit, or both")
    low = -math.inf if lower is None else number("lower", lower)
    high = math.inf if upper is None else number("upper", upper)
    if low >= high:
        raise BadValueError("lower", lower, f"below the upper limit, {high:g}")
    return low, high


def _cp_interval(cp: float, count: int, confidence: float) -> tuple[float, float]:
    """Return the interval of Cp by the chi-square distribution of the variance."""
    dof, tail = count - 1, (1.0 - confidence) / 2.0
    low, high = scipy.stats.chi2.ppf(tail, dof), scipy.stats.chi2.isf(tail, dof)
    return cp * math.sqrt(low / dof), cp * math.sqrt(high / dof)


def _cpk_interval(cpk: float, count: int, confidence: float) -> tuple[float, float]:
    """Return the interval of Cpk by Bissell's normal approximation."""
    z = float(scipy.stats.norm.ppf(0.5 + confidence / 2.0))
    half = z * math.sqrt(1.0 / (9.0 * count) + cpk**2 / (2.0 * (count - 1)))
    return cpk - half, cpk + half


def _shots_needed(cpk: float, count: int, goal: float, confidence: float) -> int | None:
    """Return how many shots would settle the question if Cpk stayed as it is, or None.

    None where it is settled already, or where Cpk is so near the goal that more than 100,000
    shots would not settle it.
    """
    low, high = _cpk_interval(cpk, count, confidence)
    if low >= goal or high < goal:
        return None
    z = float(scipy.stats.norm.ppf(0.5 + confidence / 2.0))
    gap = abs(cpk - goal)
    if gap * 316.0 < z * math.sqrt(1.0 / 9.0 + cpk**2 / 2.0):
        return None
    return math.ceil(z**2 * (1.0 / 9.0 + cpk**2 / 2.0) / gap**2) + 1
