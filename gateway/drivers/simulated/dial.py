"""Somebody dials a recipe in: finds the grind at which a slot pours what it should, as set now.

It is done when settings are loaded, at a station as it was then. Whatever changes after (wear, a
meter, a key pressed by mistake) shows in the cup, for nobody dials in again.
"""

import math
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from gateway.drivers.simulated.pour import Condition, Pour, Poured, pour

HALVINGS = 18  # to a tenth of a thousandth
ROUNDS = 2
GRINDS = (0.05, 20.0)  # times the usual resistance
TAKES_UP = (0.05, 12.0)  # g/g


@dataclass(frozen=True)
class Dial:
    """What a usual shot should be: g of coffee, s, g in the cup."""

    dose: float
    seconds: float
    beverage: float


def dialled(
    new: Condition, dial: Dial, settings: Mapping[str, float], ends_by: str, pour: Pour = pour
) -> Condition:
    """The station with the grind, dose and coffee that give such a shot, or come closest to it."""
    now = replace(new, dose=dial.dose)
    by_water = ends_by != "mass" and "water_volume" in settings

    def usual(condition: Condition) -> Poured:
        """A shot without anything accidental."""
        still = replace(condition, noise=0.0, spread=0.0)
        return pour(settings, ends_by, still, random.Random(0))  # noqa: S311 - a simulation

    def too_slow(resistance: float) -> float:
        poured = usual(replace(now, resistance=resistance))
        if ends_by == "time":
            return dial.beverage - poured.beverage
        return poured.time - dial.seconds

    def short_by(retained: float) -> float:
        return dial.beverage - usual(replace(now, retained=retained)).beverage

    for _ in range(ROUNDS if by_water else 1):  # each of the two moves the other a little
        now = replace(now, resistance=_root(too_slow, *GRINDS))
        if by_water:
            now = replace(now, retained=_root(short_by, *TAKES_UP))
    return replace(now, resistance=_root(too_slow, *GRINDS))


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function passes 0, by halving; the nearer end where it does not."""
    for _ in range(HALVINGS):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if rising(middle) > 0 else (middle, high)
    return math.sqrt(low * high)
