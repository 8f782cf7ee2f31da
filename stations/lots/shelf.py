"""What lots there are, and how long one has rested: told by the package above, which knows roasts.

Stations know the lot that is open by its code, its days and its window; what a coffee is they do
not know.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

READY = "ready"  # the one state of a lot that nobody has to be asked about


@dataclass(frozen=True, slots=True)
class Lot:
    """A roast lot on the shelf: its window in days off roast."""

    id: int
    coffee: str
    code: str
    roasted_on: date
    rest_from: int
    rest_to: int


@dataclass(frozen=True, slots=True)
class Aged:
    """A lot on one day: days off roast, resting, ready or past, and the sentence for it."""

    days: int
    state: str
    words: str


Finder = Callable[[str], Sequence[Lot]]
"""Every lot with that code, of whatever coffee; the newest ones for an empty code."""
Ageing = Callable[[date, int, int, date], Aged]
"""Roasted on, first and last day of the window, and the day in question."""


@dataclass(frozen=True, slots=True)
class Begins:
    """What opening a lot at a site sets off there, in words, and the page that says more."""

    lot: str
    words: str
    url: str


Beginning = Callable[[int], Sequence[Begins]]
"""Of a site (id), what waits for it to open a lot."""

_finders: list[Finder] = []
_beginning: list[Beginning] = []
_ageing: list[Ageing] = []


def register(finder: Finder, ageing: Ageing) -> None:
    """Called when the program starts, by the package that has the lots."""
    _finders.append(finder)
    _ageing.append(ageing)


def register_beginning(beginning: Beginning) -> None:
    """Called when the program starts, by whoever has things begin with a lot."""
    _beginning.append(beginning)


def begins_at(site_id: int) -> list[Begins]:
    """What waits for this site to open a lot."""
    return [each for beginning in _beginning for each in beginning(site_id)]


def lots_coded(code: str) -> list[Lot]:
    """Every lot with this code."""
    return [lot for find in _finders for lot in find(code)] if code else []


def newest_lots() -> list[Lot]:
    """Those somebody may be about to open."""
    return [lot for find in _finders for lot in find("")]


def aged(roasted_on: date, rest_from: int, rest_to: int, on: date) -> Aged:
    """How a lot stands on that day; ready where nobody knows of windows."""
    for ageing in _ageing:
        return ageing(roasted_on, rest_from, rest_to, on)
    return Aged(max((on - roasted_on).days, 0), READY, "")
