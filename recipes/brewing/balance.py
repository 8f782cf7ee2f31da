"""Water balance of a shot: what a station keeps back, and the water a beverage mass takes.

beverage = density x volume - ratio x dose. Retained is what passed the meter and is not in the cup,
by mass: the water that puck and head space keep, less the solids that went into the cup. So it is
everywhere, the shot model and the pages too; the two parts are told apart where a strength was
measured (`parts`). The ratio [g per g of coffee] is learnt from the station's own shots; before it
has enough of them a common value stands in, and says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.errors import QuantityError, real

COLD_WATER = 998.2  # kg/m3 at 20 °C, where a flow meter usually sits (references 1.4)
FEWEST_SHOTS = 5
# A shot this many robust spreads off the median is set aside: a spilt cup is tens of them off,
# and of good shots it takes one in 700 where 5 are known (simulated; tests/recipes/brewing).
SET_ASIDE = 6.0
LEAST_SPREAD = 0.03  # g/g: half a gram on a double; no spill, whatever the other shots say


@dataclass(frozen=True, slots=True)
class Shot:
    """One shot: dose [g], water that passed the meter [mL], beverage in the cup [g]."""

    dose: float
    water: float
    beverage: float


@dataclass(frozen=True, slots=True)
class Retention:
    """What is retained per gram of coffee [g/g]: mean, interval of the mean, spread of one shot.

    `used` shots gave it; `set_aside` are the places (from 0) of those that did not belong. With
    `learnt` False it is common practice, not this station's: used is 0, the interval is wide.
    """

    ratio: float
    low: float
    high: float
    spread: float
    used: int
    set_aside: tuple[int, ...] = ()
    learnt: bool = True


# About 1 g/g, 0.8 to 1.3: common practice, no source (references 6.7).
ASSUMED = Retention(ratio=1.0, low=0.8, high=1.3, spread=0.125, used=0, learnt=False)


@dataclass(frozen=True, slots=True)
class Forecast:
    """Beverage mass of the next shot [g] and its prediction interval."""

    mass: float
    low: float
    high: float


def retained_ratio(shot: Shot, density: float = COLD_WATER) -> float:
    """(density x water - beverage) / dose in g/g; density at the meter in kg/m3.

    Raises QuantityError naming dose, water, beverage or density, or beverage if it outweighs
    the water and the coffee together.
    """
    dose, water, kilograms = _dose(shot.dose), _water(shot.water), _density(density)
    grams = kilograms * water / 1000.0
    beverage = real("beverage", shot.beverage, least=0.0, most=grams + dose)
    return (grams - beverage) / dose


def learn_retention(
    shots: Sequence[Shot], *, density: float = COLD_WATER, confidence: float = 0.95
) -> Retention:
    """The station's retained ratio from 5 or more shots, a spilt cup set aside.

    Shots farther than 6 robust spreads (1.4826 x median absolute deviation) from the median are
    set aside and named; the rest give mean and t interval. Raises QuantityError naming shots
    (too few) or a shot's quantity.
    """
    level = _confidence(confidence)
    if len(shots) < FEWEST_SHOTS:
        raise QuantityError("shots", len(shots), f"{FEWEST_SHOTS} or more")
    ratios = np.array([retained_ratio(shot, density) for shot in shots])
    middle = float(np.median(ratios))
    scale = max(1.4826 * float(np.median(np.abs(ratios - middle))), LEAST_SPREAD)
    keep = np.abs(ratios - middle) <= SET_ASIDE * scale
    kept = ratios[keep]
    count, mean, spread = kept.size, float(kept.mean()), float(kept.std(ddof=1))
    half = float(scipy.stats.t.ppf(0.5 + level / 2, count - 1)) * spread / math.sqrt(count)
    aside = tuple(int(at) for at in np.flatnonzero(~keep))
    return Retention(mean, max(mean - half, 0.0), mean + half, spread, count, aside)


@dataclass(frozen=True, slots=True)
class Parts:
    """What retained [g/g] is made of: `water` kept, less the `solids` that are in the cup."""

    water: float
    solids: float

    @property
    def retained(self) -> float:
        """The difference of the two."""
        return self.water - self.solids


def parts(shot: Shot, tds: float, density: float = COLD_WATER) -> Parts:
    """Water kept and solids dissolved per gram of coffee [g/g], TDS in % by mass.

    Raises QuantityError naming tds, and as `retained_ratio`.
    """
    net, dose, beverage = retained_ratio(shot, density), float(shot.dose), float(shot.beverage)
    solids = real("tds", tds, least=0.0, most=100.0) / 100.0 * beverage / dose
    return Parts(net + solids, solids)


def forecast_beverage(
    retention: Retention,
    *,
    dose: float,
    water: float,
    water_u: float = 0.0,
    density: float = COLD_WATER,
    confidence: float = 0.95,
) -> Forecast:
    """Beverage mass [g] of one more shot from dose [g] and water [mL, standard uncertainty u].

    Interval: t x sqrt(dose^2 s^2 (1 + 1/n) + (density u)^2); where nothing is learnt yet, the
    assumed ratio's own range. It never begins below 0. Raises QuantityError naming the quantity, or
    water if the coffee would keep all of it.
    """
    level, coffee, volume = _confidence(confidence), _dose(dose), _water(water)
    per_millilitre = _density(density) / 1000.0
    mass = per_millilitre * volume - retention.ratio * coffee
    if mass <= 0:
        least = retention.ratio * coffee / per_millilitre
        raise QuantityError("water", water, f"more than {least:.1f} mL, which the coffee keeps")
    meter = per_millilitre * real("water_u", water_u, least=0.0, most=volume)
    if not retention.learnt:
        below = math.hypot((retention.high - retention.ratio) * coffee, 2 * meter)
        above = math.hypot((retention.ratio - retention.low) * coffee, 2 * meter)
        return Forecast(mass, max(mass - below, 0.0), mass + above)
    own = coffee * retention.spread * math.sqrt(1 + 1 / retention.used)
    half = float(scipy.stats.t.ppf(0.5 + level / 2, retention.used - 1)) * math.hypot(own, meter)
    return Forecast(mass, max(mass - half, 0.0), mass + half)


def water_for(
    retention: Retention, *, dose: float, beverage: float, density: float = COLD_WATER
) -> float:
    """Water [mL at the meter] that yields `beverage` [g]: (beverage + ratio x dose) / density.

    Unrounded: the caller rounds once, at the machine's resolution. Raises QuantityError naming
    dose, beverage or density.
    """
    mass = real("beverage", beverage, least=0.1, most=10_000.0)
    return (mass + retention.ratio * _dose(dose)) * 1000.0 / _density(density)


def _dose(value: float) -> float:
    return real("dose", value, least=0.1, most=1_000.0)


def _water(value: float) -> float:
    return real("water", value, least=0.1, most=10_000.0)


def _density(value: float) -> float:
    return real("density", value, least=900.0, most=1_001.0)


def _confidence(value: float) -> float:
    return real("confidence", value, least=0.5, most=0.9999)
