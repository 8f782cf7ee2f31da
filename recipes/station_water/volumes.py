"""Recipes that say what is in the cup and leave the water to each station.

A formula that ends by water but states no water volume gets one at each station: what yields its
beverage mass there, by the liquid that the station's own shots say its coffee keeps back.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Protocol

import numpy as np

from recipes.brewing.balances import (
    Floats,
    Forecasts,
    Mask,
    Retentions,
    forecast_beverages,
    waters_for,
)
from recipes.station_water.learning import learn
from recipes.station_water.words import Expected, Judged, assumed, beyond, unheld
from stations.metrology.abilities import Quantity, StationTraits
from stations.metrology.columns import Thousandths
from stations.metrology.translation import Flag, Translation
from web.numbers import rounded
from web.printing import quantity

WATER, DOSE, CUP = "water_volume", "dose_mass", "beverage_mass"
DECIDING = frozenset({WATER, DOSE, CUP, "ends_by"})
"""A change of one of these decides the water anew."""


class Said(Protocol):
    """What a formula says about one parameter."""

    @property
    def target(self) -> Decimal | None:
        """The number, if it is one."""

    @property
    def text(self) -> str:
        """The word, if it is one."""


def leaves_water(formula: Mapping[str, Said]) -> bool:
    """Whether the formula leaves the water to each station."""
    ends_by = formula.get("ends_by")
    if ends_by is None or ends_by.text != "volume":
        return False
    stated = {code for code in (WATER, DOSE, CUP) if code in formula and formula[code].target}
    return stated == {DOSE, CUP}


def own_water_words(formula: Mapping[str, Said]) -> str:
    """What a page says of a formula that leaves the water to the stations; else nothing."""
    if not leaves_water(formula):
        return ""
    return f"Each station gets the water that yields {quantity(formula[CUP].target, 'g')} there."


@dataclass(frozen=True, slots=True)
class StationWater:
    """The water of many stations [mL], in their order, and what it was worked out from."""

    dose: float
    cup: Quantity
    retentions: Retentions
    volumes: Thousandths


def work_out(
    formula: Mapping[str, Quantity],
    stations: Sequence[int],
    traits: Sequence[StationTraits],
    until: datetime | None,
) -> StationWater:
    """The water at each station that yields the formula's beverage mass: one query."""
    slopes = [each.pulses_per_millilitre for each in traits]
    retentions = learn(stations, slopes, until)
    dose, cup = float(formula[DOSE].target or 0), formula[CUP]
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
    told = forecast_beverages(
        water.retentions, dose=water.dose, water=delivered, water_u=_unsure(traits, delivered)
    )
    common, held = assumed(CUP, water.cup, water.dose), _holds(water.cup, told).tolist()
    # Where the water can't be set nothing is expected, and that is refused already.
    return [
        Judged()
        if np.isnan(millilitres)
        else _judged(_expected(water, told, place, millilitres), water, place, held[place], common)
        for place, millilitres in enumerate(delivered.tolist())
    ]


def _expected(water: StationWater, told: Forecasts, place: int, delivered: float) -> Expected:
    known = water.retentions
    mass, low, high = (rounded(each[place], 1) for each in (told.mass, told.low, told.high))
    learnt, used = bool(known.learnt[place]), int(known.used[place])
    return Expected(rounded(delivered, 3), mass, low, high, learnt, used)


def _judged(
    expected: Expected, water: StationWater, place: int, held: bool, common: Flag
) -> Judged:
    refusals = beyond(WATER, water.volumes.at(place))
    if not expected.learnt:
        return Judged(expected, refusals, (common,))
    return Judged(expected, refusals if held else (*refusals, unheld(CUP, water.cup, expected)))


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


def _holds(cup: Quantity, told: Forecasts) -> Mask:
    target, fine = float(cup.target or 0), np.ones(told.mass.size, dtype=bool)
    if cup.above is not None:
        fine &= told.high <= target + float(cup.above)
    if cup.below is not None:
        fine &= told.low >= target - float(cup.below)
    return fine
