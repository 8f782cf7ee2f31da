"""The cells of one window as its page shows them: site by site, station by station, with links.

A page has hundreds of addresses of a few kinds: each kind is looked up once, not once a cell.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache

from django.urls import reverse

from people.persons.models import User
from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.grid.asked import Asked
from recipes.grid.cells import Cell, cells_of
from stations.equipment.models import Site, Slot, Station


@dataclass(frozen=True, slots=True)
class Way:
    """Where something is done about a slot."""

    url: str
    words: str


@dataclass(frozen=True, slots=True)
class Shown:
    """One cell, its own address, and where what may be done about it is done."""

    cell: Cell
    number: str
    url: str
    ways: Sequence[Way]


@dataclass
class StationRow:
    """One station's cells by slot number; None where a slot does not fit what was asked."""

    station: Station
    cells: list[Shown | None] = field(default_factory=list)


@dataclass
class SiteGrid:
    """One site: its stations that have a slot that fits."""

    site: Site
    rows: list[StationRow]
    asked: Asked

    @property
    def numbers(self) -> list[str]:
        """The slot numbers of its stations, for the head of the table."""
        most = max((len(row.cells) for row in self.rows), default=0)
        return [str(number) for number in range(1, most + 1)]

    @property
    def at(self) -> datetime | None:
        """The moment the grid is as of, at this site."""
        return self.asked.at.at(self.site.time_zone) if self.asked.at else None

    @property
    def since(self) -> datetime | None:
        """The moment it is compared with, at this site."""
        return self.asked.since.at(self.site.time_zone) if self.asked.since else None


def site_grids(user: User, sites: Sequence[Site], asked: Asked) -> Iterator[SiteGrid]:
    """The sites of one window with their cells, in a fixed number of queries."""
    slots = _slots(user, sites)
    rows: dict[int, dict[int, StationRow]] = {site.pk: {} for site in sites}
    ways = {site.pk: _Ways(user, site, asked) for site in sites}
    for cell in cells_of(slots, asked):
        station = cell.slot.station
        site = station.machine.site_id
        row = rows[site].setdefault(station.pk, StationRow(station))
        row.cells.append(_shown(cell, ways[site]) if cell.fits(asked) else None)
    for one in sites:
        yield SiteGrid(one, [row for row in rows[one.pk].values() if any(row.cells)], asked)


def _slots(user: User, sites: Sequence[Site]) -> list[Slot]:
    """Their slots in reading order; those of one station share what is read of it."""
    equipment = Station.objects.filter(machine__site__in=sites).with_equipment()
    stations = {station.pk: (at, station) for at, station in enumerate(equipment)}
    slots = list(Slot.objects.covered_by(user).filter(station__in=stations).order_by())
    for slot in slots:
        slot.station = stations[slot.station_id][1]
    return sorted(slots, key=lambda slot: (stations[slot.station_id][0], slot.number))


class _Ways:
    """What this person may do about slots of a site; nothing about a moment that has passed."""

    def __init__(self, user: User, site: Site, asked: Asked) -> None:
        self.site, self.now = site, asked.at is None
        self.publish = may(user, Verb.PUBLICATION_SIGN, site.pk)
        self.ask = may(user, Verb.REQUEST_MAKE, site.pk)
        self.permit = may(user, Verb.PERMIT_GRANT, site.pk)

    def of(self, cell: Cell) -> Iterator[Way]:
        """Where each is done."""
        slot, placement, approved = cell.slot, cell.held.placement, cell.approved
        if not self.now or placement is None or approved is None:
            return
        if self.publish:
            where = f"where=stations&sites={self.site.pk}&stations={slot.station_id}"
            url = f"{_address('recipes:publish', approved.pk)}?{where}&slots={slot.number}"
            yield Way(url, f"Publish version {approved.number}")
        if self.ask:
            yield Way(f"{_address('recipes:request_new')}?slot={slot.pk}", "Ask for a change")
        if self.permit and placement.locks:
            yield Way(f"{_address('recipes:permit_new')}?slot={slot.pk}", "Permit")


def _shown(cell: Cell, ways: _Ways) -> Shown:
    slot = cell.slot
    url = _address("stations:slot", slot.pk)
    return Shown(cell, str(slot.number), url, tuple(ways.of(cell)))


def _address(name: str, pk: int | None = None) -> str:
    head, tail = _kind(name, numbered=pk is not None)
    return head if pk is None else f"{head}{pk}{tail}"


@cache
def _kind(name: str, *, numbered: bool) -> tuple[str, str]:
    """What stands before and after the number in addresses of this name."""
    if not numbered:
        return reverse(name), ""
    head, _, tail = reverse(name, args=[0]).partition("0")
    return head, tail
