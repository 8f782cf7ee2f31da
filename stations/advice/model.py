"""What the shot model says where shots are too few: told by the package above, which has it."""

from collections.abc import Callable
from dataclasses import dataclass

from stations.metrology.answering import Estimate
from stations.shots.models import CheckShot


@dataclass(frozen=True, slots=True)
class Foretold:
    """What one percent finer does to the time [s] and the beverage [g]."""

    time: float
    beverage: float


Foreteller = Callable[[CheckShot], Foretold | None]

_foretellers: list[Foreteller] = []

# How far the burrs of an espresso grinder stand apart [um]: what one mark is a part of. Assumed,
# no source; the wide range is the interval that is told.
GAP, NARROWEST, WIDEST = 250.0, 150.0, 400.0


def register(foreteller: Foreteller) -> None:
    """Called when the program starts, by the package that has the shot model."""
    _foretellers.append(foreteller)


def foretold(shot: CheckShot) -> Foretold | None:
    """What the model says of this shot's conditions; None where nobody can tell."""
    return next((told for each in _foretellers if (told := each(shot))), None)


def per_mark(percent: float, micrometres: float) -> Estimate:
    """What one mark finer does, from what 1 % finer does and the burr gap of a mark."""
    value, least, most = (percent * 100 * micrometres / gap for gap in (GAP, WIDEST, NARROWEST))
    return Estimate(value, min(least, most), max(least, most))
