"""What brewing and metrology say about a formula: shown while a draft is edited, never stored."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

import numpy as np

from recipes.appraisal.pressure import JudgedPlan, pressure_plan
from recipes.brewing.balance import ASSUMED, FEWEST_SHOTS, forecast_beverage, water_for
from recipes.brewing.errors import QuantityError
from recipes.brewing.ratio import extraction_yield
from recipes.formula.display import own_water_words, ratio_words
from recipes.formula.formula import Formula
from recipes.formula.parameters import TRANSLATION_RULES
from recipes.formula.requirements import Unable, unable
from recipes.station_water.cup import fact_words
from recipes.station_water.learning import typical_water
from stations.equipment.models import Site
from stations.metrology.abilities import StationTraits
from stations.metrology.boiling import judge_boiling
from stations.metrology.formula import BEVERAGE, DOSE, TEMPERATURE, WATER
from web.numbers import rounded
from web.printing import SPACE, quantity

STRENGTHS = tuple(Decimal(tds) for tds in (7, 8, 9, 10, 11, 12))  # %, the usual of an espresso


@dataclass(frozen=True, slots=True)
class Yield:
    """Extraction yield in % of the dose if the beverage's dissolved solids were so many %."""

    strength: Decimal
    percent: Decimal


@dataclass(frozen=True, slots=True)
class Boiling:
    """A site where the brew temperature lies near or above boiling, and why that matters."""

    site: Site
    words: str


@dataclass(frozen=True, slots=True)
class Appraisal:
    """Everything that follows from a formula."""

    ratio: str
    yields: list[Yield]
    balance: str
    plan: JudgedPlan | None
    boiling: list[Boiling]
    unable: list[Unable]


def appraise(formula: Formula, sites: Iterable[Site]) -> Appraisal:
    """Judge a formula, as far as it goes, for these sites."""
    sites = list(sites)
    return Appraisal(
        ratio_words(formula),
        yields(formula),
        own_water(formula, [site.pk for site in sites]) or balance(formula),
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


def balance(formula: Formula) -> str:
    """What the water should give in the cup by common retention, beside what is stated."""
    dose, water = formula.target(DOSE), formula.target(WATER)
    stated = formula.target(BEVERAGE)
    if dose is None or water is None:
        return ""
    try:
        cup = forecast_beverage(ASSUMED, dose=float(dose), water=float(water))
    except QuantityError:
        return (
            f"The coffee would keep all of the {water:f} mL of water: nothing would reach the cup."
        )
    low, high = (rounded(side, 0) for side in (cup.low, cup.high))
    least = _said(low).removesuffix(" g")
    on = f"{water:f} mL of water on {_said(dose)} of coffee"
    gives = f"{on} gives {least} to {_said(high)} in the cup"
    basis = ", if the coffee keeps 0.8 to 1.3 times its weight (common practice)"
    if stated is None or low <= stated <= high:
        return f"{gives}{basis}."
    return f"{gives}{basis}; {_said(stated)} is stated. Each station's own shots say what it keeps."


def _said(mass: Decimal) -> str:
    """Grams, in the unit of whoever reads."""
    return quantity(mass, "g").replace(SPACE, " ")


def boiling(formula: Formula, sites: Iterable[Site]) -> list[Boiling]:
    """The sites where the brew temperature is within 1 °C of boiling, or above it."""
    wanted = formula.target(TEMPERATURE)
    if wanted is None:
        return []
    judged = [Boiling(s, _flag(wanted, s.altitude, s.air_pressure)) for s in sites]
    return [each for each in judged if each.words]


@lru_cache(maxsize=4096)
def _flag(wanted: Decimal, altitude: Decimal, air_pressure: Decimal | None) -> str:
    traits = StationTraits(altitude=altitude, air_pressure=air_pressure)
    flag = judge_boiling(wanted, TRANSLATION_RULES[TEMPERATURE], traits)
    words = "" if flag is None else fact_words(flag)
    return words[:1].upper() + words[1:]
