"""What the gateway sees of a simulated bar: the four methods, and nothing of how it really is."""

import time
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from gateway import VERSION
from gateway.driver import (
    Description,
    Equipped,
    Place,
    RefusedError,
    Shot,
    SilentError,
    Station,
    Trace,
)
from gateway.drivers.simulated.bar import Bar, Group, ending, numbers, read
from gateway.drivers.simulated.pour import Poured, counted
from gateway.ranges import PULSE, RANGES, Amount, Settings, outside

ENDINGS = ("operator", "volume", "mass", "time")
TENTH = Decimal("0.1")
IDLE = 0.1  # s between two looks for a shot


def from_map(map_file: Path, folder: Path) -> "SimulatedBar":
    """The driver of the bar in a map; what its machines remember is kept in the folder."""
    return SimulatedBar(read(map_file, folder))


class SimulatedBar:
    """A driver over a bar that is not there."""

    def __init__(self, bar: Bar) -> None:
        self.bar = bar

    def describe(self) -> Description:
        """Every station, with the whole range of every setting."""
        stations = [
            Equipped(at, group.slots, RANGES, ENDINGS) for at, group in self.bar.groups.items()
        ]
        return Description("simulated", VERSION, stations)

    def load(self, place: Place, settings: Settings) -> None:
        """Set one slot. Raises RefusedError, SilentError."""
        self._held(place)
        if found := list(outside(settings)):
            raise RefusedError("; ".join(found))
        self.bar.load(place, settings)

    def read_back(self, place: Place) -> Settings:
        """What one slot holds."""
        return dict(self._held(place))

    def shots(self, after: Mapping[Station, str]) -> Iterator[Shot | None]:
        """Shots in the order of their moments, each when the bar's own time has come to it."""
        due = {at: self._next(at, int(after.get(at, "0"))) for at in self.bar.groups}
        while True:
            at = min(due, key=lambda each: due[each][1])
            number, moment = due[at]
            if moment > self.bar.now():
                time.sleep(IDLE)
                yield None
                continue
            yield self._shot(self.bar.groups[at], number, moment)
            due[at] = (number + 1, self.bar.moment(at, number + 1, moment))

    def _next(self, at: Station, last: int) -> tuple[int, datetime]:
        moment = self.bar.opened
        for number in range(1, last + 2):
            moment = self.bar.moment(at, number, moment)
        return last + 1, moment

    def _shot(self, group: Group, number: int, moment: datetime) -> Shot:
        bar, chance = self.bar, self.bar.chance(group.at, number)
        # Whoever has a recipe dialled in pours that; an empty slot is nobody's.
        slot = chance.choice([each for each in group.slots if each in group.dialled] or group.slots)
        place = Place(group.at.machine, group.at.station, slot)
        held = group.memory[slot]
        condition = bar.condition(place, number, chance)
        poured = bar.pour(numbers(held), ending(held), condition, chance)
        if chance.random() < bar.habits.pulls_short:
            poured = _short(poured)
        if chance.random() < bar.habits.saves_over:
            bar.hold(place, {**held, "water_volume": _saved(poured, group)})
        shot = _told(place, number, moment, poured)
        shot = replace(shot, water_volume=_decimal(counted(poured, condition, group.condition)))
        if chance.random() < bar.habits.forgets_to_weigh:
            return replace(shot, dose_mass=None, beverage_mass=None)
        return replace(shot, beverage_mass=_decimal(poured.beverage * (1.0 - condition.spilt)))

    def _held(self, place: Place) -> Settings:
        group = self.bar.groups.get(place.at)
        if group is None or place.number not in group.memory:
            raise SilentError(f"there is no slot {place}")
        return group.memory[place.number]


def _short(poured: Poured) -> Poured:
    """Ended by hand at about two thirds."""
    points = poured.points[: max(1, len(poured.points) * 2 // 3)]
    part = len(points) / max(1, len(poured.points))
    mass, water, seconds = points[-1][3], poured.water * part, poured.time * part
    return replace(poured, time=seconds, water=water, beverage=mass, points=points)


def _saved(poured: Poured, group: Group) -> Amount:
    """What a person saves over a slot: what was just poured, a good bit more than it should be."""
    pulses = round(poured.water * group.condition.pulses_per_ml * 1.1)
    return Amount(str(min(max(pulses, 1), 20_000)), PULSE)


def _told(place: Place, number: int, moment: datetime, poured: Poured) -> Shot:
    t, pressure, flow, mass, temperature = zip(*poured.points, strict=True)
    return Shot(
        place=place,
        mark=str(number),
        pulled_at=moment,
        shot_time=Decimal(str(poured.time)).quantize(TENTH),
        dose_mass=_decimal(poured.dose),
        brew_temperature=_decimal(poured.temperature),
        trace=Trace(*(_rounded(each) for each in (t, pressure, flow, mass, temperature))),
    )


def _decimal(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(str(value)).quantize(TENTH)


def _rounded(values: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(round(value, 3) for value in values)
