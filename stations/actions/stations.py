"""Stations and their slots."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from django.db import connection

from audit.context import recorded
from audit.errors import Problem
from audit.revision import compare_and_set
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from stations import history
from stations.checks import OFFSET, PULSES, SLOT_COUNT, STATION_NUMBER, Checks, taken
from stations.models import Machine, Slot, Station


def add_station(
    *,
    machine: Machine,
    number: int,
    slots: int,
    pulses_per_millilitre: Decimal | None = None,
    temperature_offset: Decimal | None = None,
    by: User,
) -> Station:
    """Add a brewing group with slots 1 to ``slots``.

    Pulses per mL of its flow meter, offset in °C measured minus °C set; None where not measured.
    Raises Invalid and NotPermitted.
    """
    subject = Subject("station", None, f"{machine} · station {number}")
    with recorded(by=by, action=history.STATION_ADDED, subject=subject, site_id=machine.site_id):
        require(by, Verb.EQUIPMENT_EDIT, machine.site_id, subject)
        checks = Checks()
        station = Station(
            machine=machine,
            number=checks.whole("number", number, STATION_NUMBER),
            pulses_per_millilitre=checks.number_or_none(
                "pulses_per_millilitre", pulses_per_millilitre, PULSES
            ),
            temperature_offset=checks.number_or_none(
                "temperature_offset", temperature_offset, OFFSET
            ),
        )
        count = checks.whole("slots", slots, SLOT_COUNT)
        checks.done()
        allowed = "a number no other station of this machine has"
        number_taken = Problem("number", number, allowed)
        with taken(station_number_once_per_machine=number_taken):
            station.save(force_insert=True)
        write_slots([station.pk], [count])
    return station


def change_station(
    *,
    station: Station,
    seen_revision: int,
    pulses_per_millilitre: Decimal | None,
    temperature_offset: Decimal | None,
    by: User,
) -> Station:
    """Change a station's traits (pulses per mL; °C measured minus °C set).

    Its slots keep what was signed for them: the new traits count from the next publication or
    re-translation on. Raises Invalid, Stale and NotPermitted.
    """
    site_id = station.machine.site_id
    subject = Subject("station", station.pk, str(station))
    with recorded(by=by, action=history.STATION_CHANGED, subject=subject, site_id=site_id):
        require(by, Verb.EQUIPMENT_EDIT, site_id, subject)
        checks = Checks()
        values = {
            "pulses_per_millilitre": checks.number_or_none(
                "pulses_per_millilitre", pulses_per_millilitre, PULSES
            ),
            "temperature_offset": checks.number_or_none(
                "temperature_offset", temperature_offset, OFFSET
            ),
        }
        checks.done()
        compare_and_set(station, seen_revision, **values, **_unmeasured(station, values))
    return station


# What a calibration said about a value says nothing about another that somebody typed in.
MEASURED_WITH = {
    "pulses_per_millilitre": ("slope_uncertainty", "repeatability"),
    "temperature_offset": ("offset_uncertainty",),
}


def _unmeasured(station: Station, values: Mapping[str, Decimal | None]) -> dict[str, None]:
    changed = [name for name, value in values.items() if value != getattr(station, name)]
    return {name: None for trait in changed for name in MEASURED_WITH[trait]}


def add_slots(*, station: Station, total: int, by: User) -> list[Slot]:
    """See to it that a station has slots 1 to ``total``; the new ones are returned.

    Slots are never removed, so a total below what there is raises Invalid. Asking twice adds
    nothing the second time. Raises Invalid and NotPermitted.
    """
    site_id = station.machine.site_id
    subject = Subject("station", station.pk, str(station))
    with recorded(by=by, action=history.SLOTS_ADDED, subject=subject, site_id=site_id):
        require(by, Verb.EQUIPMENT_EDIT, site_id, subject)
        # One at a time for a station, so that two people adding slots don't collide.
        Station.objects.select_for_update().get(pk=station.pk)
        held = Slot.objects.filter(station=station).count()
        checks = Checks()
        wanted = checks.whole("total", total, SLOT_COUNT)
        if not checks.problems and wanted < held:
            checks.fault("total", total, f"at least {held}: slots are never removed")
        checks.done()
        write_slots([station.pk], [wanted])
        return list(Slot.objects.filter(station=station, number__gt=held).order_by("number"))


def write_slots(stations: Sequence[int], counts: Sequence[int]) -> None:
    """Insert the missing slots 1 to count of each station, in one statement."""
    with connection.cursor() as cursor:
        cursor.execute(
            """INSERT INTO stations_slot (station_id, number)
            SELECT s.id, n.number
            FROM unnest(%s::bigint[], %s::int[]) AS s (id, slots),
                generate_series(1, s.slots) AS n (number)
            ON CONFLICT (station_id, number) DO NOTHING""",
            [list(stations), list(counts)],
        )
