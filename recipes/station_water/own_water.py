"""Recipes that say what is in the cup and leave the water to each station.

A formula that ends by water but states no water volume gets one at each station: what yields its
beverage mass there, by the liquid that the station's own shots say its coffee keeps back.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

import numpy as np

from recipes.brewing.balances import (
    Floats,
    Forecasts,
    Mask,
    Retentions,
    forecast_beverages,
    waters_for,
)
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS, TRANSLATION_RULES
from recipes.retention.learning import Like, learn
from recipes.station_water.cup import Expected, Judged, assumed, beyond, unheld
from stations.metrology.abilities import MachineAbilities, StationTraits
from stations.metrology.columns import Thousandths
from stations.metrology.formula import BASKET, BEVERAGE, DOSE, ENDS_BY, WATER, Stated
from stations.metrology.translate import translate_many
from stations.metrology.translation import Flag, Translation
from web.numbers import rounded

DECIDING = frozenset({WATER, DOSE, BEVERAGE, ENDS_BY, BASKET})
"""A change of one of these decides the water anew."""


@dataclass(frozen=True, slots=True)
class Learning:
    """Where the water of each station's own comes from: its shots until then, or what is given.

    ``given``: by station [mL].
    """

    until: datetime | None = None
    given: Mapping[int, Decimal] | None = None


def translate_own(
    formula: Formula,
    stations: Sequence[int],
    pairs: Sequence[tuple[MachineAbilities, StationTraits]],
    learning: Learning,
    *,
    refuse_above_boiling: bool,
) -> tuple[Sequence[Translation], Sequence[Judged]]:
    """The formula translated for each station, with the water that the station gets by itself.

    Beside each translation stands what is judged of the cup; nothing where the formula states the
    water, or it is given.
    """
    known = {code: formula[code] for code in PARAMETERS if code in formula}
    if not formula.leaves_water:
        done = translate_many(
            known, TRANSLATION_RULES, pairs, refuse_above_boiling=refuse_above_boiling
        )
        return done, [Judged()] * len(pairs)
    traits = [each for _, each in pairs]
    water = None if learning.given else work_out(formula, stations, traits, learning.until)
    volumes = water.volumes if water else volumes_of(learning.given or {}, stations)
    done = translate_many(
        {code: formula.of(code) for code in PARAMETERS if code in known or code == WATER},
        TRANSLATION_RULES,
        pairs,
        refuse_above_boiling=refuse_above_boiling,
        own={WATER: volumes},
    )
    return done, judge(water, traits, done) if water else [Judged()] * len(pairs)


@dataclass(frozen=True, slots=True)
class StationWater:
    """The water of many stations [mL], in their order, and what it was worked out from."""

    dose: float
    cup: Stated
    retentions: Retentions
    volumes: Thousandths


def work_out(
    formula: Formula,
    stations: Sequence[int],
    traits: Sequence[StationTraits],
    until: datetime | None,
) -> StationWater:
    """The water at each station that yields the formula's beverage mass: one query."""
    slopes = [each.pulses_per_millilitre for each in traits]
    asked, cup = formula.target(DOSE) or Decimal(0), formula[BEVERAGE]
    retentions = learn(stations, slopes, until, Like.of(asked, formula.of(BASKET).text))
    dose = float(asked)
    waters = waters_for(retentions, dose=dose, beverage=float(cup.target or 0))
    return StationWater(dose, cup, retentions, Thousandths.of(waters))


def volumes_of(waters: Mapping[int, Decimal], stations: Sequence[int]) -> Thousandths:
    """Given volumes [mL] in the stations' order; every station has one."""
    return Thousandths.of(np.array([float(waters[pk]) for pk in stations]))


def judge(
    water: StationWater, traits: Sequence[StationTraits], done: Sequence[Translation]
) -> list[Judged]:
    """Whether each station's settings hold the tolerance on the beverage mass, and why not."""
    pulses = _pulses(done)
    delivered = pulses / _floats(traits, "pulses_per_millilitre", 1.0)
    cups = forecast_beverages(
        water.retentions, dose=water.dose, water=delivered, water_u=_unsure(traits, delivered)
    )
    common, within = assumed(BEVERAGE, water.cup, water.dose), _holds(water.cup, cups).tolist()
    # Where the water can't be set nothing is expected, and that is refused already.
    return [
        Judged()
        if np.isnan(millilitres)
        else _judged(
            _expected(water, cups, place, millilitres), water, place, within[place], common
        )
        for place, millilitres in enumerate(delivered.tolist())
    ]


def _expected(water: StationWater, cups: Forecasts, place: int, delivered: float) -> Expected:
    learnt_from = water.retentions
    mass, low, high = (rounded(each[place], 1) for each in (cups.mass, cups.low, cups.high))
    learnt, used = bool(learnt_from.learnt[place]), int(learnt_from.used[place])
    return Expected(rounded(delivered, 3), mass, low, high, learnt, used)


def _judged(
    expected: Expected, water: StationWater, place: int, within: bool, common: Flag
) -> Judged:
    refusals = beyond(WATER, water.volumes.at(place))
    if not expected.learnt:
        return Judged(expected, refusals, (common,))
    return Judged(
        expected, refusals if within else (*refusals, unheld(BEVERAGE, water.cup, expected))
    )


def _pulses(done: Sequence[Translation]) -> Floats:
    settings = (each.settings.get(WATER) for each in done)
    return np.array([np.nan if each is None else float(each.value) for each in settings])


def _floats(traits: Sequence[StationTraits], name: str, missing: float) -> Floats:
    given = [getattr(each, name) for each in traits]
    return np.array([missing if each is None else float(each) for each in given])


def _unsure(traits: Sequence[StationTraits], delivered: Floats) -> Floats:
    """Standard uncertainty of the delivered water [mL]: the lines of `volume_budget`, summed."""
    slope = _floats(traits, "pulses_per_millilitre", 1.0)
    by_slope = delivered * _floats(traits, "slope_uncertainty", 0.0) / slope
    by_spread = _floats(traits, "repeatability", 0.0)
    return np.sqrt(by_slope**2 + by_spread**2 + 1 / (12 * slope**2))


def _holds(cup: Stated, cups: Forecasts) -> Mask:
    target, fine = float(cup.target or 0), np.ones(cups.mass.size, dtype=bool)
    if cup.above is not None:
        fine &= cups.high <= target + float(cup.above)
    if cup.below is not None:
        fine &= cups.low >= target - float(cup.below)
    return fine
