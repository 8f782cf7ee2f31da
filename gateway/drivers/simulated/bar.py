"""The simulated bar itself: stations, their memory, and somebody who pours and presses keys.

The n-th shot of a station depends on the seed, the station and n alone, and on what its slot
holds: so a bar that is stopped and started again goes on as if it had not been.
"""

import importlib
import json
import os
import random
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from gateway.driver import MapError, Place, Station
from gateway.drivers.simulated.dial import Dial, dialled
from gateway.drivers.simulated.pour import Condition, Pour, pour
from gateway.drivers.simulated.wear import Event, Wear, at_shot, event_of
from gateway.ranges import ENDS_BY, PULSE, Amount, Settings

SHORTEST = 40.0  # s from one shot to the next of a station
FACTORY = {
    "water_volume": Amount("160", PULSE),
    "brew_temperature": Amount("93.0", "Cel"),
    "brew_pressure": Amount("9.0", "bar"),
    "ends_by": Amount("volume"),
}


@dataclass(frozen=True)
class Habits:
    """What a person does, as chances per shot."""

    saves_over: float = 0.0  # presses the wrong key and saves what was just poured
    pulls_short: float = 0.0  # ends it by hand, early
    forgets_to_weigh: float = 0.0  # no dose and no yield


@dataclass
class Group:
    """One station: how it is, and what its slots hold."""

    at: Station
    slots: tuple[int, ...]
    condition: Condition  # when it was new
    wear: Wear = field(default_factory=Wear)
    events: tuple[Event, ...] = ()
    memory: dict[int, dict[str, Amount]] = field(default_factory=dict)
    dials: Mapping[int, Dial] = field(default_factory=dict)  # by slot
    dialled: dict[int, Condition] = field(default_factory=dict)


@dataclass(frozen=True)
class Demand:
    """How many shots a station pours: each hour of the day (UTC) so many times ``per_hour``."""

    per_hour: float
    hours: tuple[float, ...] = (1.0,) * 24

    def next(self, after: datetime, chance: random.Random) -> datetime:
        """The moment of the next order: a Poisson process of a rate by the hour, by thinning
        (Lewis and Shedler 1979), and never closer than a shot takes."""
        mean = 3600.0 / (self.per_hour * max(self.hours))
        least = min(SHORTEST, mean / 2)
        moment = after + timedelta(seconds=least)
        while True:
            moment += timedelta(seconds=chance.expovariate(1.0 / (mean - least)))
            if chance.random() * max(self.hours) < self.hours[moment.hour]:
                return moment


@dataclass
class Bar:
    """All of it. ``speed``: simulated seconds in a real one, until it has caught up with now."""

    seed: int
    speed: float
    demand: Demand
    habits: Habits
    groups: dict[Station, Group]
    pour: Pour
    opened: datetime
    began: datetime  # the real moment it was opened at
    file: Path | None = None

    def now(self) -> datetime:
        """The bar's own time; never later than the real one, for nobody reports the future."""
        real = datetime.now(UTC)
        return min(real, self.opened + (real - self.began) * self.speed)

    def chance(self, at: Station, shot: int) -> random.Random:
        """The chances of one shot."""
        return random.Random(f"{self.seed}:{at}:{shot}")  # noqa: S311 - a simulation

    def moment(self, at: Station, shot: int, after: datetime) -> datetime:
        """When a shot begins, if the one before it began then."""
        chance = random.Random(f"moment:{self.seed}:{at}:{shot}")  # noqa: S311 - a simulation
        return self.demand.next(after, chance)

    def condition(self, place: Place, shot: int, chance: random.Random) -> Condition:
        """How a station is at one shot of a slot."""
        group = self.groups[place.at]
        new = group.dialled.get(place.number, group.condition)
        return at_shot(new, group.wear, group.events, shot, chance)

    def load(self, place: Place, settings: Settings) -> None:
        """Put approved settings into a slot, and dial its recipe in."""
        self.dial_in(place, settings)
        self.hold(place, settings)

    def dial_in(self, place: Place, settings: Settings) -> None:
        """Find the grind for these settings, where the map says what they should pour."""
        group = self.groups[place.at]
        if dial := group.dials.get(place.number):
            found = dialled(group.condition, dial, numbers(settings), ending(settings), self.pour)
            group.dialled[place.number] = found

    def hold(self, place: Place, settings: Settings) -> None:
        """Put settings into a slot, and remember it through a power cut."""
        self.groups[place.at].memory[place.number] = dict(settings)
        self.remember()

    def remember(self) -> None:
        """Write down what a machine would keep in its own memory."""
        if self.file is None:
            return
        kept = {
            "opened": self.opened.isoformat(),
            "began": self.began.isoformat(),
            "memory": [
                [at.machine, at.station, number, {k: [a.value, a.unit] for k, a in held.items()}]
                for at, group in self.groups.items()
                for number, held in group.memory.items()
            ],
            "dialled": [
                [at.machine, at.station, number, asdict(condition)]
                for at, group in self.groups.items()
                for number, condition in group.dialled.items()
            ],
        }
        beside = self.file.with_suffix(".part")
        with beside.open("w") as file:
            json.dump(kept, file)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self.file)


def read(map_file: Path, folder: Path | None = None) -> Bar:
    """A bar from its map (TOML), with the memory of an earlier run. Raises MapError."""
    try:
        told = tomllib.loads(map_file.read_text())
        bar = _bar(told, folder / "simulated_bar.json" if folder else None)
    except MapError as problem:
        raise MapError(f"{map_file}: {problem}") from None
    except (OSError, KeyError, TypeError, ValueError, ImportError, AttributeError) as problem:
        raise MapError(f"{map_file}: {problem!r}") from problem
    if bar.file and bar.file.exists():
        _recall(bar, json.loads(bar.file.read_text()))
    else:
        bar.remember()
    return bar


def _bar(told: Mapping[str, Any], file: Path | None) -> Bar:
    now = datetime.now(UTC)
    groups = [_group(each) for each in told["station"]]
    return Bar(
        seed=int(told.get("seed", 1)),
        speed=float(told.get("speed", 1.0)),
        demand=_demand(told),
        habits=Habits(**{name: float(each) for name, each in told.get("habits", {}).items()}),
        groups={each.at: each for each in groups},
        pour=_pour(str(told.get("pour", ""))),
        opened=now - timedelta(hours=float(told.get("hours_behind", 0.0))),
        began=now,
        file=file,
    )


def _group(told: Mapping[str, Any]) -> Group:
    figures: dict[str, Any] = {name: float(each) for name, each in told.get("is", {}).items()}
    condition = Condition(**figures)
    wear = Wear(**{name: float(each) for name, each in told.get("wears", {}).items()})
    events = tuple(event_of(each) for each in told.get("event", []))
    slots = tuple(int(each) for each in told["slots"])
    at = Station(str(told["machine"]), int(told["number"]))
    dials = {
        int(each["slot"]): Dial(*(float(each[name]) for name in ("dose", "seconds", "beverage")))
        for each in told.get("dial", [])
    }
    memory = {each: dict(FACTORY) for each in slots}
    return Group(at, slots, condition, wear, events, memory, dials)


def numbers(held: Settings) -> dict[str, float]:
    """The settings of a slot that are numbers."""
    return {code: float(each.value) for code, each in held.items() if each.number is not None}


def ending(held: Settings) -> str:
    """How its shots end."""
    return held[ENDS_BY].value if ENDS_BY in held else "volume"


def _demand(told: Mapping[str, Any]) -> Demand:
    hours = tuple(float(each) for each in told.get("hours", (1.0,) * 24))
    if len(hours) != 24 or min(hours) < 0 or not max(hours):
        raise MapError("hours are 24 numbers of at least 0, not all of them 0")
    return Demand(float(told.get("orders_per_hour", 20.0)), hours)


def _pour(name: str) -> Pour:
    """The model of a shot; another one than ours is named in the map, so that nothing is imported
    here that a box at a bar does not have."""
    if not name:
        return pour
    module, _, function = name.partition(":")
    found: Pour = getattr(importlib.import_module(module), function)
    return found


def _recall(bar: Bar, kept: Mapping[str, Any]) -> None:
    bar.opened = datetime.fromisoformat(kept["opened"])
    bar.began = datetime.fromisoformat(kept["began"])
    for machine, station, number, held in kept["memory"]:
        group = bar.groups.get(Station(machine, station))
        if group and number in group.memory:
            group.memory[number] = {code: Amount(*pair) for code, pair in held.items()}
    for machine, station, number, condition in kept["dialled"]:
        if group := bar.groups.get(Station(machine, station)):
            group.dialled[number] = Condition(**condition)
