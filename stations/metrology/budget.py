"""What a metered volume or an offset temperature is uncertain by (JCGM 100:2008)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

import scipy  # its parts load when first used: together they take seconds

from stations.metrology.abilities import StationTraits
from stations.metrology.formula import Stated
from stations.metrology.numbers import EXACT, Real, number, to_resolution

COVERAGE = 2.0  # k = 2, about 95 % (JCGM 100:2008, 6.2 and G.6.6)
TWICE = Decimal(2)
TWELVE = Decimal(12)
ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One contribution: what it is, its standard uncertainty [mL], its share of the variance.

    ``dof`` is None for a contribution that is known rather than estimated.
    """

    name: str
    basis: str
    standard_uncertainty: float
    share: float
    dof: int | None


@dataclass(frozen=True, slots=True)
class VolumeBudget:
    """A delivered volume [mL] and its uncertainty.

    ``deviation`` is the volume of the whole-pulse setting less the volume asked for: known, and
    so no part of the uncertainty. ``combined`` is the standard uncertainty, ``expanded`` twice
    that. ``coverage`` is the probability that k = 2 covers with ``effective_dof`` degrees of
    freedom (Welch-Satterthwaite; None if no contribution was estimated).
    """

    volume: float
    pulses: int
    delivered: float
    deviation: float
    lines: tuple[BudgetLine, ...]
    combined: float
    expanded: float
    effective_dof: float | None
    coverage: float

    def fits(self, below: Real, above: Real) -> bool:
        """Return whether deviation ± expanded stays within -below/+above [mL]."""
        low = number("below", below, "mL", low=0.0)
        high = number("above", above, "mL", low=0.0)
        return self.deviation + self.expanded <= high and self.expanded - self.deviation <= low


def volume_budget(
    volume: Real,
    pulses_per_millilitre: Real,
    *,
    slope_uncertainty: Real = 0.0,
    repeatability: Real = 0.0,
    dof: int | None = None,
    pulses: int | None = None,
) -> VolumeBudget:
    """Return the budget of a volume [mL] set as the nearest whole pulse, or as ``pulses``.

    Slope: V u(K)/K. Repeatability: one delivery's standard deviation [mL]. Quantisation: the
    water stops somewhere within one pulse, (1/K)/√12. The residual spread of a calibration
    already holds some quantisation of its own runs, so the sum leans to the cautious side.
    ``dof`` are the calibration's degrees of freedom. Formula: JCGM 100:2008, 5.1.2, 4.3.7 and
    G.4.1. Raises BadValueError for values not above 0 (volume, K) or negative (the others).
    """
    asked = number("volume", volume, "mL", above=0.0, high=1e5)
    slope = number("pulses_per_millilitre", pulses_per_millilitre, "per mL", above=0.0, high=1e5)
    spread = number("slope_uncertainty", slope_uncertainty, "per mL", low=0.0, high=1e5)
    repeat = number("repeatability", repeatability, "mL", low=0.0, high=1e5)
    if dof is not None:
        number("dof", dof, low=1.0)
    counted = _setting(volume, pulses_per_millilitre) if pulses is None else pulses
    number("pulses", counted, low=0.0, high=1e9)
    parts = _parts(asked, slope, spread, repeat, dof)
    combined = math.sqrt(sum(part[2] ** 2 for part in parts))
    effective = _effective_dof(combined, parts)
    return VolumeBudget(
        volume=asked,
        pulses=counted,
        delivered=counted / slope,
        deviation=counted / slope - asked,
        lines=tuple(_line(part, combined) for part in parts),
        combined=combined,
        expanded=COVERAGE * combined,
        effective_dof=effective,
        coverage=_coverage(effective),
    )


def _setting(volume: Real, slope: Real) -> int:
    """Return the nearest whole pulse, by the same exact arithmetic as the translation."""
    exact = [
        value if isinstance(value, Decimal) else Decimal(str(value)) for value in (volume, slope)
    ]
    return int(to_resolution(EXACT.multiply(*exact), Decimal(1)))


Part = tuple[str, str, float, int | None]


def _parts(
    volume: float, slope: float, spread: float, repeat: float, dof: int | None
) -> list[Part]:
    """Return the three contributions as (name, basis, u [mL], degrees of freedom)."""
    return [
        ("slope", f"K = {slope:.4f} ± {spread:.4f} per mL", volume * spread / slope, dof),
        ("repeatability", "residual spread of the calibration", repeat, dof),
        ("quantisation", f"one pulse is {1 / slope:.4f} mL", 1 / slope / math.sqrt(12.0), None),
    ]


def _line(part: Part, combined: float) -> BudgetLine:
    """Return one part as a line with its share of the variance."""
    name, basis, uncertainty, dof = part
    return BudgetLine(name, basis, uncertainty, (uncertainty / combined) ** 2, dof)


def _effective_dof(combined: float, parts: list[Part]) -> float | None:
    """Return the Welch-Satterthwaite degrees of freedom, or None if nothing was estimated.

    v = u^4 / Σ (u_i^4 / v_i). Slope and repeatability come from one fit; treating them as
    independent estimates is the usual reading of the formula.
    """
    shares = [(u / combined) ** 4 / dof for _, _, u, dof in parts if dof is not None and u > 0.0]
    total = sum(shares)
    return 1.0 / total if total > 0.0 else None


def _coverage(effective: float | None) -> float:
    """Return the two-sided probability within k = 2."""
    if effective is None:
        return float(2 * scipy.stats.norm.cdf(COVERAGE) - 1)
    return float(2 * scipy.stats.t.cdf(COVERAGE, effective) - 1)


# Within a translation: exact decimals, and only what decides whether a setting may be placed.


def holds(deviation: Decimal, expanded: Decimal, stated: Stated) -> bool:
    """Return whether ``deviation`` ± ``expanded`` stays inside the stated tolerance.

    All in the parameter's unit. A side without a stated tolerance always holds.
    """
    if stated.above is not None and deviation + expanded > stated.above:
        return False
    return stated.below is None or expanded - deviation <= stated.below


def volume_expanded(volume: Decimal, traits: StationTraits) -> Decimal:
    """Return the expanded uncertainty (k = 2) [mL] of a volume metered by pulses.

    U = 2 √[(V u(K)/K)² + s² + (1/K)²/12]: slope, repeatability, and the whole pulse within
    which the water stops (uniform over one pulse; JCGM 100:2008, 4.3.7). Zero where neither the
    slope's uncertainty nor the repeatability is known: then only the rounding can be judged.
    """
    slope = traits.pulses_per_millilitre
    if slope is None or (traits.slope_uncertainty is None and traits.repeatability is None):
        return ZERO
    by_slope = volume * (traits.slope_uncertainty or ZERO) / slope
    by_spread = traits.repeatability or ZERO
    variance = by_slope * by_slope + by_spread * by_spread + 1 / (slope * slope * TWELVE)
    return TWICE * EXACT.sqrt(variance)


def temperature_expanded(resolution: Decimal, traits: StationTraits) -> Decimal:
    """Return the expanded uncertainty (k = 2) [°C] of a temperature set through an offset.

    U = 2 √[u(offset)² + r²/12] with r the machine's resolution, within which its display rounds.
    Zero where the offset's uncertainty is not known.
    """
    if traits.offset_uncertainty is None:
        return ZERO
    spread = traits.offset_uncertainty
    return TWICE * EXACT.sqrt(spread * spread + resolution * resolution / TWELVE)
