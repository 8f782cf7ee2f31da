"""Since when nobody has looked whether slots hold what they should: never fine by silence.

Whoever reads slots by itself registers how it is asked (gateways do); where nobody reads them, a
person's last read-back is all there is, and says when it was.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from stations.slots.holdings import Holding

Ask = Callable[[Collection[int]], Mapping[int, datetime]]
"""Of slots (ids), those that should have been read by now, and since when they were not."""

_asked: list[Ask] = []


def register_unverified(ask: Ask) -> Ask:
    """Called when the program starts, by whoever reads slots by itself."""
    _asked.append(ask)
    return ask


def unverified_since(slots: Collection[int]) -> dict[int, datetime]:
    """By slot, since when; slots that were read lately, or are read by nobody, are left out."""
    found: dict[int, datetime] = {}
    for ask in _asked:
        found |= ask(slots)
    return found


def say_unverified(held: Sequence[Holding]) -> list[Holding]:
    """The same holdings, each with since when it is not verified: one query for all."""
    found = unverified_since([each.slot.pk for each in held])
    return [replace(each, unverified_since=found.get(each.slot.pk)) for each in held]
