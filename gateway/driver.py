"""The one interface between the gateway and machines: four methods (docs/writing-a-driver.md).

All four are called from one and the same thread, never at once. A driver sets recipe slots and
reads figures; there is no method for anything else, and there must be none.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Protocol

from gateway.ranges import Range, Settings

MOST_NAME = 60  # characters of a driver's name and version together, as the interface takes them


class DriverError(Exception):
    """A machine could not be asked or told; the gateway reports it and tries again."""


class MapError(Exception):
    """What a driver was told of its bar cannot be read, or asks for what no driver may do."""


class SilentError(DriverError):
    """A machine or station does not answer."""


class RefusedError(DriverError):
    """A machine cannot hold these settings; nothing of them was loaded."""


@dataclass(frozen=True, order=True)
class Station:
    """One brewing group: the machine's code as Portaledger has it, and the station's number."""

    machine: str
    station: int

    def __str__(self) -> str:
        return f"{self.machine}/{self.station}"


@dataclass(frozen=True, order=True)
class Place:
    """One numbered recipe slot of a station."""

    machine: str
    station: int
    number: int

    @property
    def at(self) -> Station:
        """The station it is part of."""
        return Station(self.machine, self.station)

    def __str__(self) -> str:
        return f"{self.machine}/{self.station}/{self.number}"


@dataclass(frozen=True)
class Equipped:
    """A station as the driver knows it.

    ``settings`` is what a slot of it can be set to, each within what the machine takes; its unit is
    the machine's own (`gateway.ranges`). ``endings`` are the words that ``ends_by`` can be.
    """

    at: Station
    slots: Sequence[int]
    settings: Mapping[str, Range]
    endings: Sequence[str] = ()
    answers: bool = True


@dataclass(frozen=True)
class Description:
    """The driver's name and version, and every station, answering or not."""

    name: str
    version: str
    stations: Sequence[Equipped]


@dataclass(frozen=True)
class Trace:
    """What was measured against time; every sequence as long as ``t``, or empty."""

    t: Sequence[float]  # s from the start of the shot
    pressure: Sequence[float] = ()  # bar (gauge)
    flow: Sequence[float] = ()  # mL/s
    mass: Sequence[float] = ()  # g in the cup
    temperature: Sequence[float] = ()  # Cel


@dataclass(frozen=True)
class Shot:
    """One shot that was pulled. Figures the machine does not know stay None.

    ``mark`` says which shot of its station it is (a count, a log's key), the same whenever it is
    read; ``missed`` is how many before it were pulled that the machine has no figures of any more.
    """

    place: Place
    mark: str
    pulled_at: datetime  # when it began, with its time zone
    shot_time: Decimal  # s
    dose_mass: Decimal | None = None  # g
    beverage_mass: Decimal | None = None  # g
    water_volume: Decimal | None = None  # mL
    brew_temperature: Decimal | None = None  # Cel
    trace: Trace | None = field(default=None, compare=False)
    missed: int = 0


class Driver(Protocol):
    """What a machine, or a whole bar of them, has to be able to do."""

    def describe(self) -> Description:
        """Which stations there are, what their slots can be set to, and who answers now."""

    def load(self, place: Place, settings: Settings) -> None:
        """Set one slot, wholly or not at all; the same settings twice is the same as once.

        Raises RefusedError where the machine cannot hold them, SilentError where it is not there.
        """

    def read_back(self, place: Place) -> Settings:
        """What one slot holds now, read from the machine and from nowhere else.

        Raises SilentError.
        """

    def shots(self, after: Mapping[Station, str]) -> Iterator[Shot | None]:
        """Shots as they are pulled, each station's in their order, for ever.

        Begins after the shot of the given mark; at a station without one, with what comes from now
        on. Yields None at least once a second while there is none. Raises SilentError only where
        no station at all can be asked; the gateway then begins again.
        """
