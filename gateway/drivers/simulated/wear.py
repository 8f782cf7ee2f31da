"""How a simulated station changes: slowly with every shot, and all at once by what happens to it.

What a station is at its n-th shot follows from n alone: it can be asked in any order. Magnitudes
are what a test of drift has to find, no source.
"""

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from gateway.driver import MapError
from gateway.drivers.simulated.pour import Condition

FINES = 1.6  # times the resistance, where a puck is full of fines
CHANNEL = 0.55  # times the resistance, where water finds a way through


class Happening(StrEnum):
    """What may happen to a station; ``by`` says how much."""

    METER = "meter"  # by this share more pulses per mL
    DEAD_METER = "dead_meter"  # no pulses at all: somebody ends the shot by hand
    GRINDER = "grinder"  # by this share more resistance
    LOT = "lot"  # another coffee in the hopper: the same, and told apart by its moment
    SCALE = "scale"  # bar per mL/s more in the pipe
    PROBE = "probe"  # K that the group is warmer than its probe says
    SPILT = "spilt"  # by this share less on the scale


@dataclass(frozen=True)
class Wear:
    """What every thousand shots do, as shares (``scale`` in bar per mL/s); chances per shot."""

    meter: float = 0.0
    grinder: float = 0.0
    scale: float = 0.0
    fines: float = 0.0
    channels: float = 0.0


@dataclass(frozen=True)
class Event:
    """Something that happens at a shot and lasts for so many (0: for good)."""

    shot: int
    what: Happening
    by: float = 0.0
    shots: int = 0

    def holds(self, shot: int) -> bool:
        """Whether a shot is one of those."""
        return shot >= self.shot and (not self.shots or shot < self.shot + self.shots)


def event_of(told: Mapping[str, Any]) -> Event:
    """An event as a map has it. Raises MapError."""
    try:
        what = Happening(str(told["what"]))
    except ValueError:
        raise MapError(f"what happens is one of {', '.join(Happening)}") from None
    by, shots = float(told.get("by", 0.0)), int(told.get("shots", 0))
    return Event(int(told["shot"]), what, by, shots)


def at_shot(
    new: Condition, wear: Wear, events: Sequence[Event], shot: int, chance: random.Random
) -> Condition:
    """What a station is at one shot, from what it was when it was new."""
    thousands = shot / 1000.0
    now = replace(
        new,
        pulses_per_ml=new.pulses_per_ml * (1.0 + wear.meter * thousands),
        resistance=new.resistance * (1.0 + wear.grinder * thousands) * _puck(wear, chance),
        restriction=new.restriction + wear.scale * thousands,
    )
    for event in events:
        if event.holds(shot):
            now = _happened(now, event)
    return now


def _puck(wear: Wear, chance: random.Random) -> float:
    """How this one puck differs from the usual."""
    drawn = chance.random()
    if drawn < wear.fines:
        return FINES
    return CHANNEL if drawn < wear.fines + wear.channels else 1.0


def _happened(now: Condition, event: Event) -> Condition:
    by = event.by
    changed: dict[Happening, dict[str, Any]] = {
        Happening.METER: {"pulses_per_ml": now.pulses_per_ml * (1.0 + by)},
        Happening.DEAD_METER: {"counts": False},
        Happening.GRINDER: {"resistance": now.resistance * (1.0 + by)},
        Happening.LOT: {"resistance": now.resistance * (1.0 + by)},
        Happening.SCALE: {"restriction": now.restriction + by},
        Happening.PROBE: {"probe_offset": now.probe_offset + by},
        Happening.SPILT: {"spilt": by},
    }
    return replace(now, **changed[event.what])
