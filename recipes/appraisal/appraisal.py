"""What brewing and metrology say about a formula: shown while a draft is edited, never stored."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

import numpy as np

from recipes.appraisal.pressure import JudgedPlan, pressure_plan
from recipes.brewing.balance import (
    ASSUMED,
    FEWEST_SHOTS,
    Forecast,
    forecast_beverage,
    water_for,
)
from recipes.brewing.balances import House, cup_by
from recipes.brewing.errors import QuantityError
from recipes.brewing.ratio import extraction_yield
from recipes.formula.display import own_water_words, ratio_words
from recipes.formula.doubts import Doubt, doubts, fault_words, impossible
from recipes.formula.formula import Formula
from recipes.formula.parameters import TRANSLATION_RULES
from recipes.formula.requirements import Unable, unable
from recipes.retention.learning import house_retention, typical_water
from recipes.station_water.cup import fact_words
from stations.equipment.models import Site
from stations.metrology.abilities import StationTraits
from stations.metrology.boiling import judge_boiling
from stations.metrology.formula import BEVERAGE, DOSE, TEMPERATURE, WATER
from stations.metrology.solubles import MOST_SOLUBLE
from stations.metrology.translation import Notice
from web.numbers import rounded
from web.printing import SPACE, counted, quantity

STRENGTHS = tuple(Decimal(tds) for tds in (7, 8, 9, 10, 11, 12))  # %, the usual of an espresso


@dataclass(frozen=True, slots=True)
class Yield:
    """Extraction yield in % of the dose if the beverage's dissolved solids were so many %."""

    strength: Decimal
    percent: Decimal

    @property
    def possible(self) -> bool:
        """Whether coffee holds that much at all."""
        return self.percent <= MOST_SOLUBLE


@dataclass(frozen=True, slots=True)
class Boiling:
    """A site where the brew temperature lies near or above boiling, and why that matters."""

    site: Site
    words: str
    above: bool


@dataclass(frozen=True, slots=True)
class Appraisal:
    """Everything that follows from a formula."""

    impossible: list[str]
    doubts: list[Doubt]
    ratio: str
    yields: list[Yield]
    balance: str
    plan: JudgedPlan | None
    boiling: list[Boiling]
    unable: list[Unable]


def appraise(formula: Formula, sites: Iterable[Site]) -> Appraisal:
    """Judge a formula, as far as it goes, for these sites."""
    sites = list(sites)
    places = [site.pk for site in sites]
    house = measured(formula, places)
    return Appraisal(
        fault_words(impossible(formula)),
        doubts(formula, house),
        ratio_words(formula),
        yields(formula),
        own_water(formula, places) or balance(formula, house),
        pressure_plan(formula),
        boiling(formula, sites),
        unable(formula),
    )


def yields(formula: Formula) -> list[Yield]:
    """The extraction yield for some strengths; empty while dose or beverage mass is missing."""
    dose, beverage = formula.target(DOSE), formula.target(BEVERAGE)
    if dose is None or beverage is None:
        return []
    return [Yield(tds, extraction_yield(dose, beverage, tds, places=1)) for tds in STRENGTHS]


def own_water(formula: Formula, sites: Sequence[int]) -> str:
    """What follows for the water where the formula leaves it to the stations; else nothing."""
    words = own_water_words(formula)
    dose, beverage = formula.target(DOSE), formula.target(BEVERAGE)
    if not words or dose is None or beverage is None:
        return ""
    common = f"{rounded(water_for(ASSUMED, dose=float(dose), beverage=float(beverage)), 1):f} mL"
    known = typical_water(dose, beverage, sites)
    if not known.size:
        return f"{words} {common} by common practice, until a station has {FEWEST_SHOTS} shots."
    low, middle, high = (rounded(float(np.quantile(known, at)), 1) for at in (0, 0.5, 1))
    span = f" ({low:f} to {high:f} mL at {known.size} stations)" if known.size > 1 else ""
    return f"{words} Typically {middle:f} mL here{span}; {common} by common practice elsewhere."


def measured(formula: Formula, sites: Sequence[int]) -> House | None:
    """What the coffee keeps at these sites, where the formula's water makes it matter."""
    dose = formula.target(DOSE)
    if dose is None or formula.target(WATER) is None:
        return None
    return house_retention(dose, sites)


def balance(formula: Formula, house: House | None) -> str:
    """What the water gives in the cup: as measured here, else by common practice."""
    dose, water = formula.target(DOSE), formula.target(WATER)
    if dose is None or water is None:
        return ""
    on = f"{_said(water, 'mL')} of water on {_said(dose)} of coffee"
    cup = _cup(house, float(dose), float(water))
    if cup is None:
        return f"The coffee would keep all of {on.partition(' on ')[0]}: nothing reaches the cup."
    low, middle, high = (rounded(each, 1) for each in (cup.low, cup.mass, cup.high))
    gives = f"{on} gives {_said(middle)} in the cup ({_bare(low)} to {_said(high)})"
    if house is None:
        return (
            f"{gives} if the coffee keeps {ASSUMED.low:g} to {ASSUMED.high:g} g/g. That is common"
            f" practice: no station has {FEWEST_SHOTS} check shots of such a dose yet."
        )
    kept = [rounded(each, 2) for each in (house.low, house.ratio, house.high)]
    return (
        f"{gives}, 95 % of single cups: the coffee keeps {_said(kept[1], 'g/g')}"
        f" ({kept[0]:f} to {kept[2]:f}), measured in {house.shots} check shots of such a dose at"
        f" {counted(house.stations, 'station')}. That is water kept less what dissolves into the"
        " cup."
    )


def _cup(house: House | None, dose: float, water: float) -> Forecast | None:
    """What reaches the cup; None where all the water would be kept."""
    if house:
        cup = cup_by(house, dose=dose, water=water)
        return cup if cup.mass else None
    try:
        return forecast_beverage(ASSUMED, dose=dose, water=water)
    except QuantityError:
        return None


def _bare(mass: Decimal) -> str:
    return _said(mass).removesuffix(" g")


def _said(value: Decimal, unit: str = "g") -> str:
    """A quantity, in the unit of whoever reads."""
    return quantity(value, unit).replace(SPACE, " ")


def boiling(formula: Formula, sites: Iterable[Site]) -> list[Boiling]:
    """The sites where the brew temperature is within 1 °C of boiling, or above it."""
    wanted = formula.target(TEMPERATURE)
    if wanted is None:
        return []
    judged = [Boiling(s, *_flag(wanted, s.altitude, s.air_pressure)) for s in sites]
    return [each for each in judged if each.words]


@lru_cache(maxsize=4096)
def _flag(wanted: Decimal, altitude: Decimal, air_pressure: Decimal | None) -> tuple[str, bool]:
    traits = StationTraits(altitude=altitude, air_pressure=air_pressure)
    flag = judge_boiling(wanted, TRANSLATION_RULES[TEMPERATURE], traits)
    words = "" if flag is None else fact_words(flag)
    above = flag is not None and flag.kind is Notice.ABOVE_BOILING
    return words[:1].upper() + words[1:], above
