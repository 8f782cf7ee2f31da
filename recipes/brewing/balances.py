"""Water balances of many stations at once: the fast twin of `balance`, in NumPy.

One call serves a plan for a whole chain; its numbers equal those of `balance`, station by station.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its parts load when first used: together they take seconds

from recipes.brewing.balance import (
    ASSUMED,
    COLD_WATER,
    FEWEST_SHOTS,
    LEAST_SPREAD,
    SET_ASIDE,
    Forecast,
    Retention,
)

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Retentions:
    """`balance.Retention` of many stations by field; `aside` counts what was set aside."""

    ratio: Floats
    low: Floats
    high: Floats
    spread: Floats
    used: Whole
    aside: Whole
    learnt: Mask


@dataclass(frozen=True, slots=True)
class Forecasts:
    """Beverage mass [g] of the next shot at many stations, and its 95 % prediction interval."""

    mass: Floats
    low: Floats
    high: Floats


def retained_ratios(
    dose: Floats, water: Floats, beverage: Floats, density: float = COLD_WATER
) -> Floats:
    """`balance.retained_ratio` of many shots [g/g]; NaN where it would raise QuantityError."""
    grams = density * water / 1000.0
    sound = (dose >= 0.1) & (dose <= 1000.0) & (water >= 0.1) & (water <= 10_000.0)
    sound &= (beverage >= 0.0) & (beverage <= grams + dose)
    return np.where(sound, (grams - beverage) / np.where(sound, dose, 1.0), np.nan)


def learn_retentions(stations: Whole, ratios: Floats, count: int) -> Retentions:
    """`balance.learn_retention` of every station from all their shots; `ASSUMED` below 5 shots.

    ``stations`` says whose shot a ratio is, from 0 to ``count`` - 1; ratios of NaN are left out.
    """
    sound = ~np.isnan(ratios)
    whose, ratios = stations[sound], ratios[sound]
    known = np.bincount(whose, minlength=count)
    middle = _medians(whose, ratios, known)
    apart = np.abs(ratios - middle[whose])
    scale = np.maximum(1.4826 * _medians(whose, apart, known), LEAST_SPREAD)
    keep = apart <= SET_ASIDE * scale[whose]
    whose, ratios = whose[keep], ratios[keep]
    used = np.bincount(whose, minlength=count)
    mean = np.bincount(whose, ratios, count) / np.maximum(used, 1)
    squares = np.bincount(whose, (ratios - mean[whose]) ** 2, count)
    spread = np.sqrt(squares / np.maximum(used - 1, 1))
    half = _factors(used) * spread / np.sqrt(np.maximum(used, 1))
    learnt = known >= FEWEST_SHOTS
    return Retentions(
        np.where(learnt, mean, ASSUMED.ratio),
        np.where(learnt, np.maximum(mean - half, 0.0), ASSUMED.low),
        np.where(learnt, mean + half, ASSUMED.high), np.where(learnt, spread, ASSUMED.spread),
        np.where(learnt, used, 0), np.where(learnt, known - used, 0), learnt,
    )  # fmt: skip


def retention_at(found: Retentions, place: int) -> Retention:
    """One station's retention; `set_aside` is left empty."""
    ratio, low, high, spread = (
        float(each[place]) for each in (found.ratio, found.low, found.high, found.spread)
    )
    return Retention(
        ratio, low, high, spread, int(found.used[place]), learnt=bool(found.learnt[place])
    )


def waters_for(
    retentions: Retentions, *, dose: float, beverage: float, density: float = COLD_WATER
) -> Floats:
    """`balance.water_for` at every station [mL]."""
    found: Floats = (beverage + retentions.ratio * dose) * 1000.0 / density
    return found


def forecast_beverages(
    retentions: Retentions,
    *,
    dose: float,
    water: Floats,
    water_u: Floats,
    density: float = COLD_WATER,
) -> Forecasts:
    """`balance.forecast_beverage` at every station, from water [mL, standard uncertainty u].

    A learnt spread holds the meter's repeatability already, so the sum leans to the cautious side.
    """
    per_millilitre = density / 1000.0
    mass = per_millilitre * water - retentions.ratio * dose
    meter = per_millilitre * water_u
    own = dose * retentions.spread * np.sqrt(1 + 1 / np.maximum(retentions.used, 1))
    half = _factors(retentions.used) * np.hypot(own, meter)
    low = np.hypot((retentions.high - retentions.ratio) * dose, 2 * meter)
    high = np.hypot((retentions.ratio - retentions.low) * dose, 2 * meter)
    return Forecasts(
        mass,
        np.maximum(mass - np.where(retentions.learnt, half, low), 0.0),
        mass + np.where(retentions.learnt, half, high),
    )


def _factors(used: Whole) -> Floats:
    """Student's t for 95 %, by the shots a mean is from; each number of shots looked up once."""
    kinds, places = np.unique(used, return_inverse=True)
    table = scipy.special.stdtrit(np.maximum(kinds - 1, 1), 0.5 + CONFIDENCE / 2)
    found: Floats = np.asarray(table)[places]
    return found


def _medians(whose: Whole, values: Floats, known: Whole) -> Floats:
    """The median of each station's values; 0 where it has none."""
    ordered = np.append(values[np.lexsort((values, whose))], 0.0)
    starts = np.cumsum(known) - known
    low, high = starts + np.maximum(known - 1, 0) // 2, starts + known // 2
    found: Floats = np.where(known > 0, (ordered[low] + ordered[high]) / 2, 0.0)
    return found


# The house's measured retention: what a cup at one of its stations may be, whichever it is.


@dataclass(frozen=True, slots=True)
class House:
    """Retained per gram of coffee [g/g] over all stations that have learnt theirs.

    ``low`` to ``high`` holds 95 % of single cups at whichever of these stations, never below 0.
    """

    ratio: float
    low: float
    high: float
    stations: int
    shots: int


def house_of(found: Retentions) -> House | None:
    """The stations' retentions as one; None where none has learnt its own.

    Each station counts alike. A single cup scatters within its station (pooled) and with the
    stations' means (their variance, for these are all there are): t x sqrt(within^2 (1 + 1/n) +
    between^2), n shots in all.
    """
    known = found.learnt
    if not known.any():
        return None
    means, used = found.ratio[known], found.used[known]
    free, shots = int((used - 1).sum()), int(used.sum())
    within = float(((used - 1) * found.spread[known] ** 2).sum()) / free
    spread = math.sqrt(within * (1 + 1 / shots) + float(means.var()))
    half = float(scipy.special.stdtrit(free, 0.5 + CONFIDENCE / 2)) * spread
    ratio = float(means.mean())
    return House(ratio, max(ratio - half, 0.0), ratio + half, int(known.sum()), shots)


def cup_by(house: House, *, dose: float, water: float, density: float = COLD_WATER) -> Forecast:
    """Beverage mass [g] from dose [g] and water [mL] at one of its stations; never below 0."""
    grams = density * water / 1000.0
    mass, low, high = (
        max(grams - ratio * dose, 0.0) for ratio in (house.ratio, house.high, house.low)
    )
    return Forecast(mass, low, high)
