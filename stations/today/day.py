"""A bar's day: its stations with what each needs, and what the site needs beside."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.utils import timezone

from people.persons.models import User
from people.persons.permissions import may
from people.persons.verbs import AT_THE_BAR, Verb, sites_as
from stations.equipment.models import Site, Station
from stations.handover.models import HandoverNote
from web.today import Asked, Need, needs

LOOKED_AT = 60  # sites; of more, the first by name
NOTES = 4  # unread hand-over notes shown of one site
LINES = 10  # stations and their needs that a phone's first screen holds one by one
IN_FULL = 3  # sites with their stations; the others as one line each


@dataclass(frozen=True, slots=True)
class StationDay:
    """A station and what it still needs."""

    station: Station
    needs: Sequence[Need]


@dataclass
class SiteDay:
    """A site at a moment: stations that need something, those that need nothing, and the rest."""

    site: Site
    now: datetime
    hands_over: bool  # who looks may leave and read notes
    stations: list[StationDay] = field(default_factory=list)
    settled: list[Station] = field(default_factory=list)
    needs: list[Need] = field(default_factory=list)
    at_stations: list[Need] = field(default_factory=list)
    notes: list[HandoverNote] = field(default_factory=list)

    @property
    def waits(self) -> int:
        """How many things it needs, notes to be read among them."""
        return len(self.needs) + len(self.at_stations) + len(self.notes)

    @property
    def crowded(self) -> bool:
        """Whether each station is one line that opens, so that all are on the first screen."""
        return len(self.stations) + len(self.at_stations) > LINES

    @property
    def first_notes(self) -> list[HandoverNote]:
        """The oldest that are not read: shown at once."""
        return self.notes[:NOTES]

    @property
    def later_notes(self) -> int:
        """How many there are after those."""
        return len(self.notes[NOTES:])


@dataclass(frozen=True, slots=True)
class Day:
    """The day of several sites: the first ones in full, the others by what they need."""

    sites: Sequence[SiteDay]
    others: Sequence[SiteDay]
    more: bool = False

    @property
    def waits(self) -> int:
        """How many things they need."""
        return sum(one.waits for one in (*self.sites, *self.others))


def day_of(user: User) -> Day:
    """The day of the bars where this person works; those that need something come first."""
    mine = sites_as(user.roles_held(), AT_THE_BAR)
    if mine is not None and not mine:
        return Day([], [])
    rows = list(Site.objects.at_sites(mine)[: LOOKED_AT + 1])
    days = site_days(user, rows[:LOOKED_AT])
    if len(days) > IN_FULL:
        days.sort(key=lambda one: (not one.at_stations, not one.waits))
    first = days[:IN_FULL]
    with_stations(first)
    return Day(first, days[IN_FULL:], len(rows) > LOOKED_AT)


def site_days(user: User, sites: Sequence[Site]) -> list[SiteDay]:
    """What each of these sites needs, as this person is told; stations are not looked up."""
    now = timezone.now()
    days = {site.pk: SiteDay(site, now, may(user, Verb.HANDOVER_WRITE, site.pk)) for site in sites}
    for need in needs(Asked(user, {site.pk: site.zone for site in sites}, now)):
        day = days[need.site_id]
        (day.needs if need.station_id is None else day.at_stations).append(need)
    for note in HandoverNote.objects.covered_by(user).filter(site__in=days).unread_by(user):
        days[note.site_id].notes.append(note)
    return list(days.values())


def with_stations(days: Sequence[SiteDay]) -> None:
    """Look up the stations of these days: one query."""
    by_site = {day.site.pk: day for day in days}
    rows = Station.objects.filter(machine__site__in=by_site).with_equipment()
    for station in rows:
        day = by_site[station.machine.site_id]
        its = [need for need in day.at_stations if need.station_id == station.pk]
        if its:
            day.stations.append(StationDay(station, its))
        else:
            day.settled.append(station)
