"""The traits of many stations as columns, and settings as exact ratios of whole numbers.

A calibration, a target and a resolution are whole numbers of small decimal steps, so products
and half-up rounding stay exact in NumPy's 64-bit integers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from operator import attrgetter, eq

import numpy as np
import numpy.typing as npt

from stations.metrology.abilities import ParameterAbility, StationTraits
from stations.metrology.formula import Stated
from stations.metrology.numbers import EXACT, Floats

Whole = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

STEPS_PER_ONE = 1_000_000
MILLION = Decimal(STEPS_PER_ONE)
LARGEST = 2**61
FARTHEST = 10**15
ZERO = Decimal(0)
ONE = np.array(1)
UNUSABLE = Decimal("1e-7")  # stands for None: not a whole number of millionths
# Where floats judge a tolerance, anything this near its edge is left to exact arithmetic.
GUARD = 1e-9
QUANTISATION = 12.0  # a width's square over the variance of a uniform distribution


class TraitColumns:
    """The traits of many stations, one array per trait, each made when first asked for."""

    def __init__(self, traits: Sequence[StationTraits]) -> None:
        self._traits = traits
        self._given: dict[str, list[Decimal | None]] = {}
        self._whole: dict[str, tuple[Whole, Mask]] = {}

    def given(self, name: str) -> list[Decimal | None]:
        """Return a trait of every station as it is."""
        if name not in self._given:
            self._given[name] = list(map(attrgetter(name), self._traits))
        return self._given[name]

    def whole(self, name: str, *, missing: Decimal | None) -> tuple[Whole, Mask]:
        """Return a trait in millionths, and where it is usable.

        ``missing`` stands for None; without it a trait that is None isn't usable. Nor is one of
        more than six decimals or above a thousand million.
        """
        if name not in self._whole:
            instead = UNUSABLE if missing is None else missing
            given = [instead if value is None else value for value in self.given(name)]
            self._whole[name] = _millionths(given)
        return self._whole[name]

    def floats(self, name: str) -> Floats:
        """Return a trait as floats, 0 where it is None."""
        given = [ZERO if value is None else value for value in self.given(name)]
        return np.fromiter(map(float, given), dtype=float, count=len(given))

    def known(self, *names: str) -> Mask:
        """Return where any of the named traits is not None."""
        found = np.zeros(len(self._traits), dtype=bool)
        for name in names:
            found |= np.array([value is not None for value in self.given(name)])
        return found


@dataclass(frozen=True, slots=True)
class Ratio:
    """Exact settings in steps of a machine's resolution: numerators over one denominator.

    ``per_step`` is what a step is in the parameter's unit and ``expanded`` the setting's
    uncertainty (k = 2) in that unit, per station. Only ``usable`` rows mean anything.
    """

    numerators: Whole
    denominator: int
    per_step: Floats
    expanded: Floats
    usable: Mask

    def rounded(self) -> Whole:
        """Return the nearest whole steps, ties away from zero."""
        sizes = (2 * np.abs(self.numerators) + self.denominator) // (2 * self.denominator)
        return np.where(self.numerators < 0, -sizes, sizes)

    def plain(self, steps: Whole, stated: Stated, ability: ParameterAbility) -> Mask:
        """Return where ``steps`` are beyond doubt in range and within tolerance."""
        resolution = Fraction(ability.resolution)
        lowest = math.ceil(Fraction(ability.minimum) / resolution)
        highest = math.floor(Fraction(ability.maximum) / resolution)
        plain = self.usable & (steps >= lowest) & (steps <= highest)
        rest = (steps * self.denominator - self.numerators) / self.denominator
        deviation = rest * self.per_step
        for side, width in ((deviation, stated.above), (-deviation, stated.below)):
            if width is not None:
                room = float(width)
                plain &= side + self.expanded < room - GUARD * max(room, 1.0)
        return plain


@dataclass(frozen=True, slots=True)
class Thousandths:
    """A volume of each station's own, exact to 0.001 mL: finer than any meter."""

    counts: Whole

    @classmethod
    def of(cls, volumes: Floats) -> Thousandths:
        """Return computed volumes [mL], rounded half-up."""
        return cls(np.floor(volumes * 1000.0 + 0.5).astype(np.int64))

    def at(self, place: int) -> Decimal:
        """Return one station's volume [mL]."""
        return Decimal(int(self.counts[place])).scaleb(-3)

    def take(self, places: Sequence[int]) -> Thousandths:
        """Return the volumes of some of the stations."""
        return Thousandths(self.counts[places])


@dataclass(frozen=True, slots=True)
class Volumes:
    """A volume [mL] at every station: exactly ``counts`` (one for all, or one each) of ``unit``."""

    counts: Whole
    unit: Fraction
    usable: Mask

    @classmethod
    def same(cls, volume: Decimal) -> Volumes:
        """Return one volume for all stations."""
        return cls(np.array(1), Fraction(volume), np.array(True))

    @classmethod
    def each(cls, volumes: Thousandths) -> Volumes:
        """Return the volumes of the stations, in order; those not above zero aren't usable."""
        return cls(volumes.counts, Fraction(1, 1000), volumes.counts > 0)

    @property
    def floats(self) -> Floats:
        """Return the volumes as floats."""
        return np.asarray(self.counts * float(self.unit), dtype=np.float64)


def pulses_of_volume(
    columns: TraitColumns, volumes: Volumes, ability: ParameterAbility
) -> Ratio | None:
    """Return volumes as pulses at every station; None if the numbers don't fit."""
    slopes, usable = columns.whole("pulses_per_millilitre", missing=None)
    factor = volumes.unit / Fraction(ability.resolution)
    if not _fits(slopes, factor, volumes.counts):
        return None
    slope = np.where(usable, slopes, STEPS_PER_ONE) / STEPS_PER_ONE
    return Ratio(
        numerators=slopes * volumes.counts * factor.numerator,
        denominator=STEPS_PER_ONE * factor.denominator,
        per_step=float(ability.resolution) / slope,
        expanded=_volume_expanded(columns, volumes.floats, slope),
        usable=usable & volumes.usable,
    )


def pulses_of_percent(
    columns: TraitColumns, percent: Decimal, volumes: Volumes, ability: ParameterAbility
) -> Ratio | None:
    """Return a percentage of volumes as pulses; None if the numbers don't fit."""
    slopes, usable = columns.whole("pulses_per_millilitre", missing=None)
    factor = volumes.unit * Fraction(percent) / 100 / Fraction(ability.resolution)
    if volumes.unit <= 0 or not _fits(slopes, factor, volumes.counts):
        return None
    usable = usable & volumes.usable
    total = np.where(usable, slopes / STEPS_PER_ONE * volumes.floats, 1.0)
    return Ratio(
        numerators=slopes * volumes.counts * factor.numerator,
        denominator=STEPS_PER_ONE * factor.denominator,
        per_step=100.0 * float(ability.resolution) / total,
        expanded=np.zeros(slopes.size),
        usable=usable,
    )


def less_offset(columns: TraitColumns, target: Decimal, ability: ParameterAbility) -> Ratio | None:
    """Return a target [°C] less each station's offset; None if the numbers don't fit."""
    offsets, usable = columns.whole("temperature_offset", missing=ZERO)
    aims, fits = _millionths((target,))
    left = aims[0] - offsets
    factor = 1 / Fraction(ability.resolution)
    if not (fits[0] and _fits(left, factor)):
        return None
    resolution = float(ability.resolution)
    spread = np.hypot(columns.floats("offset_uncertainty"), resolution / math.sqrt(QUANTISATION))
    return Ratio(
        numerators=left * factor.numerator,
        denominator=STEPS_PER_ONE * factor.denominator,
        per_step=np.full(offsets.size, resolution),
        expanded=np.where(columns.known("offset_uncertainty"), 2.0 * spread, 0.0),
        usable=usable,
    )


def _volume_expanded(columns: TraitColumns, volume: Floats, slope: Floats) -> Floats:
    """Return `budget.volume_expanded` for every station [mL]."""
    by_slope = volume * columns.floats("slope_uncertainty") / slope
    by_spread = columns.floats("repeatability")
    variance = by_slope**2 + by_spread**2 + 1.0 / (QUANTISATION * slope**2)
    known = columns.known("slope_uncertainty", "repeatability")
    return np.where(known, 2.0 * np.sqrt(variance), 0.0)


def _millionths(given: Sequence[Decimal]) -> tuple[Whole, Mask]:
    """Return decimals in millionths, and where they are whole numbers of them."""
    scaled = [EXACT.multiply(value, MILLION) for value in given]
    whole = list(map(int, scaled))
    usable = np.fromiter(map(eq, whole, scaled), dtype=bool, count=len(whole))
    if max(whole, default=0) >= FARTHEST or min(whole, default=0) <= -FARTHEST:
        near = [abs(value) < FARTHEST for value in whole]
        usable &= np.array(near)
        whole = [value if kept else 0 for value, kept in zip(whole, near, strict=True)]
    return np.array(whole, dtype=np.int64), usable


def _fits(values: Whole, factor: Fraction, counts: Whole = ONE) -> bool:
    """Return whether the products stay clear of 64 bits, with room for doubling."""
    largest = int(np.abs(values).max(initial=0)) * factor.numerator
    largest *= int(np.abs(counts).max(initial=0))
    return 2 * (largest + STEPS_PER_ONE * factor.denominator) < LARGEST
