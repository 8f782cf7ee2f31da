"""What is said of the beverage mass that a station's own water yields."""

from dataclasses import dataclass
from decimal import Decimal

from recipes.brewing.balance import ASSUMED, FEWEST_SHOTS
from recipes.formula.parameters import PARAMETERS
from stations.metrology.abilities import Quantity
from stations.metrology.wording import between, tolerance, with_unit
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


@dataclass(frozen=True, slots=True)
class Judged:
    """What is expected at one station, and what speaks against it."""

    expected: Expected | None = None
    refusals: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    to_acknowledge: tuple[str, ...] = ()


def assumed(cup: Quantity, dose: float) -> Judged:
    """What is said of every station that has too few shots to learn from.

    Nothing known there speaks against it, so it isn't refused; where common practice is wider
    than the tolerance, somebody accepts that by name.
    """
    target = float(cup.target or 0)
    below, above = (ASSUMED.high - ASSUMED.ratio) * dose, (ASSUMED.ratio - ASSUMED.low) * dose
    first = between(rounded(target - below, 1), rounded(target + above, 1), "g")
    said = (
        f"{_wanted(cup)} rests on common practice here: the coffee keeps back {ASSUMED.low:g} to"
        f" {ASSUMED.high:g} g per gram, so the first cups may weigh {first}. Fewer than"
        f" {FEWEST_SHOTS} check shots that ended by water were logged at this station; with more,"
        " the next publication works the water out from them"
    )
    wide = _wider(below, cup.below) or _wider(above, cup.above)
    return Judged(flags=(said,), to_acknowledge=(said,) if wide else ())


def _wider(width: float, allowed: Decimal | None) -> bool:
    return allowed is not None and width > float(allowed)


def unheld(cup: Quantity, expected: Expected) -> str:
    """Why the tolerance on the beverage mass can't be held, by the station's own shots."""
    return (
        f"{_wanted(cup)} can't be held here: by {expected.used} check shots the next cup weighs"
        f" {between(expected.low, expected.high, 'g')} (95 %) from"
        f" {with_unit(rounded(float(expected.water), 1), 'mL')} of water"
    )


def beyond(volume: Decimal) -> tuple[str, ...]:
    """What is said of a volume [mL] that no recipe could state either."""
    limits = PARAMETERS["water_volume"]
    if limits.minimum <= volume <= limits.maximum:
        return ()
    span = between(limits.minimum, limits.maximum, "mL")
    return (f"the water it takes here, {with_unit(volume, 'mL')}, is outside {span}",)


def _wanted(cup: Quantity) -> str:
    width = tolerance(cup.below, cup.above, "g")
    shown = f"beverage mass {with_unit(cup.target or Decimal(0), 'g')}"
    return shown if width == "g" else f"{shown} {width}"
