"""What a site's slots are to hold together, by what it follows: told by the package that has it."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Arranged:
    """What a site follows, in words, its page, and how many slots depart from it."""

    words: str
    url: str
    departing: int


Reader = Callable[[int], Arranged]
"""By the id of a site."""
Departing = Callable[[Collection[int]], Mapping[int, int]]
"""By site (id), of those given, how many slots depart where some do: in one query."""

_readers: list[tuple[Reader, Departing]] = []


def register(reader: Reader, departing: Departing) -> None:
    """Called when the program starts, by the package that arranges slots."""
    _readers.append((reader, departing))


def arranged_at(site_id: int) -> Arranged | None:
    """What this site follows; None where nothing can be followed."""
    return next((reader(site_id) for reader, _ in _readers), None)


def departing_at(sites: Collection[int]) -> dict[int, int]:
    """How many slots of each of these sites depart from what it follows, where some do."""
    return {site: slots for _, departing in _readers for site, slots in departing(sites).items()}
