"""What the board shows: site by site how many slots wait for what, and one site's slots."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Count

from people.persons.models import User
from people.persons.verbs import Verb
from stations.charts.models import Drift
from stations.equipment.models import Machine, Site, Slot, Station
from stations.gateways.silence import Verified, silent_at, verified
from stations.shots.models import CheckShot
from stations.slots.arranged import departing_at
from stations.slots.holdings import in_force
from stations.slots.models import Placement
from stations.slots.signed import NOT_AS_SIGNED
from stations.slots.unverified import unverified_since

COUNTS = ("differs", "outside", "drifts", "to_load", "on_permit", "by_hand", "matches")
NOTHING = dict.fromkeys(COUNTS, 0)


def board_counts(user: User) -> dict[int, dict[str, int]]:
    """By site, of those this person covers: slots by how they stand, and stations that drift.

    Three queries. A site where neither is to be said is left out.
    """
    found = {
        row.pop("site"): {**NOTHING, **row} for row in Placement.objects.covered_by(user).board()
    }
    pouring = CheckShot.objects.covered_by(user).outside_now().order_by()
    for site, slots in pouring.values_list("site").annotate(Count("slot", distinct=True)):
        found.setdefault(site, dict(NOTHING))["outside"] = slots
    drifting = Drift.objects.covered_by(user).current().stations_by_site()
    for site, stations in drifting.items():
        found.setdefault(site, dict(NOTHING))["drifts"] = stations
    return found


def board_rows(
    sites: Sequence[Site], counts: Mapping[int, Mapping[str, int]]
) -> list[dict[str, Any]]:
    """Each site with its counts (of ``board_counts``), how many slots it has and how many depart.

    Those are asked of the sites shown alone: all of a chain's would cost more than the rest.
    """
    slots = Slot.objects.count_by_site(site.pk for site in sites)
    departing = departing_at([site.pk for site in sites])
    silent = silent_at([site.pk for site in sites])
    return [
        {
            **counts.get(site.pk, NOTHING),
            "site": site,
            "slots": slots.get(site.pk, 0),
            "departs": departing.get(site.pk, 0),
            "silent": silent.get(site.pk, 0),
        }
        for site in sites
    ]


# One site: machine by machine, station by station.

WAITING = (NOT_AS_SIGNED, "differs", "to_load", "on_permit", "by_hand")


@dataclass
class StationRow:
    """A station and its slots, each with ``condition`` and the ``title`` of what it should hold."""

    station: Station
    slots: list[Any] = field(default_factory=list)
    drifts: list[Drift] = field(default_factory=list)
    verified: Verified | None = None  # where a gateway reads it


@dataclass
class MachineRow:
    """A machine and its stations; ``numbers`` are the columns that its slots need."""

    machine: Machine
    stations: list[StationRow] = field(default_factory=list)

    @property
    def numbers(self) -> list[int]:
        """The slot numbers of its stations, for the head of the table."""
        return list(range(1, max((len(row.slots) for row in self.stations), default=0) + 1))


@dataclass
class Overview:
    """All of a site, and how many of its slots wait for something."""

    machines: list[MachineRow]
    counts: dict[str, int]


def site_overview(site: Site, user: User) -> Overview:
    """Read a site in a fixed number of queries, however many slots it has."""
    machines = {
        machine.pk: MachineRow(machine)
        for machine in Machine.objects.filter(site=site).select_related("machine_type")
    }
    stations = {}
    for station in Station.objects.filter(machine__site=site).order_by("number"):
        row = stations[station.pk] = StationRow(station)
        machines[station.machine_id].stations.append(row)
    for drift in Drift.objects.filter(site=site).current().with_place():
        stations[drift.station_id].drifts.append(drift)
    for read in verified(site):
        stations[read.station.pk].verified = read
    counts = dict.fromkeys(WAITING, 0)
    slots = slots_of(Slot.objects.covered_by(user, Verb.SLOT_VIEW), site)
    unread = unverified_since([slot.pk for slot in slots])
    for slot in slots:
        slot.unverified_since = unread.get(slot.pk)
        stations[slot.station_id].slots.append(slot)
        if slot.condition in counts:
            counts[slot.condition] += 1
    return Overview(list(machines.values()), counts)


def slots_of(slots: Any, site: Site) -> list[Any]:  # noqa: ANN401
    """A site's slots with their condition and the ``title`` of what each should hold."""
    found = list(
        slots.filter(station__machine__site=site).with_condition().order_by("station", "number")
    )
    held = in_force(slot.pk for slot in found)
    for slot in found:
        placement = held.get(slot.pk)
        slot.title = placement.settings.title if placement else ""
        if placement and placement.problem:
            slot.condition = NOT_AS_SIGNED
    return found
