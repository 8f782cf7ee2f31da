"""What is expected in the cup of a station's own water, and what speaks against it, as facts."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from typing import Any

from recipes.brewing.balance import ASSUMED, FEWEST_SHOTS
from recipes.formula.parameters import PARAMETERS, TRANSLATION_RULES
from stations.metrology.formula import Stated
from stations.metrology.sentences import between, sentence, wanted, with_unit
from stations.metrology.translation import Flag, Refusal, params
from web.numbers import rounded


@dataclass(frozen=True, slots=True)
class Expected:
    """What a station pours by its pulses: water [mL], beverage [g], the next cup's 95 % interval.

    ``learnt`` False: by common practice, since ``used`` shots are too few to learn from.
    """

    water: Decimal
    mass: Decimal
    low: Decimal
    high: Decimal
    learnt: bool
    used: int

    @property
    def words(self) -> str:
        """'61.2 mL for 36 g (34.6 to 37.4 g)', and what it rests on."""
        basis = f"{self.used} check shots" if self.learnt else "common practice"
        water = rounded(float(self.water), 1)
        return (
            f"{with_unit(water, 'mL')} for {with_unit(self.mass, 'g')}"
            f" ({between(self.low, self.high, 'g')}), by {basis}"
        )

    def as_json(self) -> dict[str, Any]:
        """Plain data, as a digest binds it: numbers as exact decimals."""
        numbers = {"water": self.water, "mass": self.mass, "low": self.low, "high": self.high}
        exact = {name: format(value, "f") for name, value in numbers.items()}
        return {**exact, "learnt": self.learnt, "used": self.used}


class CupReason(StrEnum):
    """Why a station can't get the water for a cup."""

    NOT_HELD = "cup_not_held"  # its own shots scatter more than the tolerance allows
    BEYOND = "water_beyond_recipes"  # more or less water than any recipe may state


class CupNotice(StrEnum):
    """What a cup is flagged for though the station can get the water."""

    COMMON_PRACTICE = "common_practice"


@dataclass(frozen=True, slots=True)
class Judged:
    """What is expected at one station, and what speaks against it."""

    expected: Expected | None = None
    refusals: tuple[Refusal, ...] = ()
    flags: tuple[Flag, ...] = ()


def assumed(code: str, cup: Stated, dose: float) -> Flag:
    """What is said of every station that has too few shots to learn from.

    Nothing known there speaks against it, so it isn't refused; where common practice is wider
    than the tolerance, somebody accepts that by name.
    """
    target = float(cup.target or 0)
    below, above = (ASSUMED.high - ASSUMED.ratio) * dose, (ASSUMED.ratio - ASSUMED.low) * dose
    given = params(
        target=cup.target,
        below=cup.below,
        above=cup.above,
        keeps_least=f"{ASSUMED.low:g}",
        keeps_most=f"{ASSUMED.high:g}",
        low=rounded(target - below, 1),
        high=rounded(target + above, 1),
        fewest=str(FEWEST_SHOTS),
    )
    wide = _wider(below, cup.below) or _wider(above, cup.above)
    return Flag(code, CupNotice.COMMON_PRACTICE, given, needs_acknowledgement=wide)


def _wider(width: float, allowed: Decimal | None) -> bool:
    return allowed is not None and width > float(allowed)


def unheld(code: str, cup: Stated, expected: Expected) -> Refusal:
    """The tolerance on the beverage mass can't be held, by the station's own shots."""
    given = params(
        target=cup.target,
        below=cup.below,
        above=cup.above,
        used=str(expected.used),
        low=expected.low,
        high=expected.high,
        water=rounded(float(expected.water), 1),
    )
    return Refusal(code, CupReason.NOT_HELD, given)


def beyond(code: str, volume: Decimal) -> tuple[Refusal, ...]:
    """A volume [mL] that no recipe could state either; nothing for one that it could."""
    limits = PARAMETERS[code]
    if limits.minimum <= volume <= limits.maximum:
        return ()
    given = params(water=volume, minimum=limits.minimum, maximum=limits.maximum)
    return (Refusal(code, CupReason.BEYOND, given),)


# Facts as sentences: those of the cup here, those of the machine from metrology.

Given = Mapping[str, str]


@lru_cache(maxsize=16_384)
def fact_words(fact: Refusal | Flag) -> str:
    """The sentence for what a translation or the cup was refused or flagged for."""
    words = CUP_WORDS.get(type(fact.kind))
    if words is None:
        return sentence(fact, TRANSLATION_RULES[fact.code])
    return words[fact.kind](fact.code, dict(fact.given))


def _common_practice(code: str, given: Given) -> str:
    first = between(Decimal(given["low"]), Decimal(given["high"]), "g")
    return (
        f"{_cup(code, given)} rests on common practice here: the coffee keeps back"
        f" {given['keeps_least']} to {given['keeps_most']} g per gram, so the first cups may weigh"
        f" {first}. Fewer than {given['fewest']} check shots that ended by water were logged at"
        " this station; with more, the next publication works the water out from them"
    )


def _not_held(code: str, given: Given) -> str:
    return (
        f"{_cup(code, given)} can't be held here: by {given['used']} check shots the next cup"
        f" weighs {between(Decimal(given['low']), Decimal(given['high']), 'g')} (95 %) from"
        f" {with_unit(Decimal(given['water']), 'mL')} of water"
    )


def _beyond(_code: str, given: Given) -> str:
    span = between(Decimal(given["minimum"]), Decimal(given["maximum"]), "mL")
    water = with_unit(Decimal(given["water"]), "mL")
    return f"the water it takes here, {water}, is outside {span}"


def _cup(code: str, given: Given) -> str:
    return wanted(given, TRANSLATION_RULES[code])


CUP_WORDS: dict[type[StrEnum], dict[StrEnum, Callable[[str, Given], str]]] = {
    CupNotice: {CupNotice.COMMON_PRACTICE: _common_practice},
    CupReason: {CupReason.NOT_HELD: _not_held, CupReason.BEYOND: _beyond},
}
