"""Bars."""

from collections.abc import Sequence
from decimal import Decimal

from django.db import connection

from audit.capture.context import recorded
from audit.errors import Invalid, Problem, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require, require_everywhere
from people.persons.verbs import Verb
from stations.equipment.bounds import (
    ALTITUDE,
    CODE_WORDS,
    OFFSET,
    PULSES,
    SLOT_COUNT,
    STATION_NUMBER,
    Figure,
    ask_usual,
    check_barometer,
    check_code,
    scales_here,
)
from stations.equipment.models import Machine, Site, Slot, Station
from stations.equipment.moments import what_waits
from stations.machine_types.models import MachineType
from stations.metrology.offset_questions import usual_offset
from stations.metrology.questions import usual_pulses
from web.checks import Checks, taken

SITE_ADDED = register("site.added", "Added site")
SITE_CHANGED = register("site.changed", "Changed site")
MACHINE_ADDED = register("machine.added", "Added machine")
MACHINE_CHANGED = register("machine.changed", "Changed machine")
STATION_ADDED = register("station.added", "Added station")
# Figures are calibrations now; the history has entries from before.
register("station.changed", "Changed station")
SLOTS_ADDED = register("slot.added", "Added slots")


def add_site(*, by: User, code: str, name: str, time_zone: str, altitude: Decimal) -> Site:
    """Add a bar; altitude in metres above sea level, time zone by its IANA name.

    Raises Invalid, and NotPermitted without a role that covers all sites.
    """
    subject = Subject("site", None, str(name))
    with recorded(by=by, action=SITE_ADDED, subject=subject):
        require_everywhere(by, Verb.SITE_EDIT, subject)
        checks = Checks()
        site = Site(
            code=check_code(checks, "code", code),
            name=checks.text("name", name),
            time_zone=checks.zone("time_zone", time_zone),
            altitude=checks.number("altitude", altitude, ALTITUDE),
        )
        checks.done()
        with taken(stations_site_code_key=Problem("code", code, CODE_WORDS), **_name_taken(name)):
            site.save(force_insert=True)
    return site


def change_site(
    *, by: User, site: Site, revision: int, name: str, time_zone: str, altitude: Decimal
) -> Site:
    """Change a bar's name, zone or altitude. Its code stays: gateways ask by it.

    The zone stays as well while something waits for a moment by its clock. Raises Invalid, Stale
    and NotPermitted.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=SITE_CHANGED, subject=subject, site_id=site.pk):
        require(by, Verb.SITE_EDIT, site.pk, subject)
        checks = Checks()
        high = checks.number("altitude", altitude, ALTITUDE)
        values = {
            "name": checks.text("name", name),
            "time_zone": checks.zone("time_zone", time_zone),
            "altitude": high,
        }
        # A reading that does not belong to the new altitude has to be taken away first.
        check_barometer(checks, "altitude", site.air_pressure, high)
        checks.done()
        if site.time_zone != values["time_zone"]:
            problem = what_waits(site.pk, site.time_zone, str(values["time_zone"]))
            if problem:
                raise Invalid.of([problem])
        with taken(**_name_taken(name)):
            compare_and_set(site, revision, **values)
    return site


def _name_taken(name: str) -> dict[str, Problem]:
    return {"stations_site_name_key": Problem("name", name, "a name no other site has")}


# Espresso machines.


def add_machine(*, by: User, site: Site, name: str, machine_type: MachineType) -> Machine:
    """Add a machine to a bar. Raises Invalid and NotPermitted."""
    subject = Subject("machine", None, str(name))
    with recorded(by=by, action=MACHINE_ADDED, subject=subject, site_id=site.pk):
        require(by, Verb.EQUIPMENT_EDIT, site.pk, subject)
        checks = Checks()
        machine = Machine(site=site, name=checks.text("name", name), machine_type=machine_type)
        checks.done()
        with taken(**_machine_name_taken(name)):
            machine.save(force_insert=True)
    return machine


def change_machine(
    *, by: User, machine: Machine, revision: int, name: str, machine_type: MachineType
) -> Machine:
    """Change a machine's name or type. What its slots hold now is not touched by it.

    Raises Invalid, Stale and NotPermitted.
    """
    subject = Subject("machine", machine.pk, machine.name)
    with recorded(by=by, action=MACHINE_CHANGED, subject=subject, site_id=machine.site_id):
        require(by, Verb.EQUIPMENT_EDIT, machine.site_id, subject)
        checks = Checks()
        wanted = checks.text("name", name)
        checks.done()
        with taken(**_machine_name_taken(name)):
            compare_and_set(machine, revision, name=wanted, machine_type=machine_type)
    return machine


def _machine_name_taken(name: str) -> dict[str, Problem]:
    allowed = "a name no other machine of this site has"
    return {"machine_name_once_per_site": Problem("name", name, allowed)}


# Stations and their slots.


def add_station(
    *,
    by: User,
    machine: Machine,
    number: int,
    slots: int,
    pulses_per_millilitre: Decimal | None = None,
    temperature_offset: Decimal | None = None,
    reason: str = "",
) -> Station:
    """Add a brewing group with slots 1 to ``slots``.

    Pulses per mL of its flow meter, offset in °C measured minus °C set; None where not measured,
    with a reason where it is not usual. Raises Invalid and NotPermitted.
    """
    subject = Subject("station", None, f"{machine} · station {number}")
    with recorded(
        by=by, action=STATION_ADDED, reason=reason, subject=subject, site_id=machine.site_id
    ):
        require(by, Verb.EQUIPMENT_EDIT, machine.site_id, subject)
        checks = Checks()
        station = Station(
            machine=machine,
            number=int(checks.number("number", number, STATION_NUMBER)),
            pulses_per_millilitre=checks.number_or_none(
                "pulses_per_millilitre", pulses_per_millilitre, PULSES
            ),
            temperature_offset=checks.number_or_none(
                "temperature_offset", temperature_offset, OFFSET
            ),
        )
        count = int(checks.number("slots", slots, SLOT_COUNT))
        _ask_usual(checks, station, reason)
        checks.done()
        allowed = "a number no other station of this machine has"
        number_taken = Problem("number", number, allowed)
        with taken(station_number_once_per_machine=number_taken):
            station.save(force_insert=True)
        write_slots([station.pk], [count])
    return station


def _ask_usual(checks: Checks, station: Station, reason: str) -> None:
    ask_usual(
        checks,
        reason,
        Figure("pulses_per_millilitre", station.pulses_per_millilitre, PULSES, usual_pulses),
        Figure(
            "temperature_offset",
            station.temperature_offset,
            OFFSET,
            lambda value: usual_offset(value, scales_here()),
        ),
    )


def add_slots(*, by: User, station: Station, total: int) -> list[Slot]:
    """See to it that a station has slots 1 to ``total``; the new ones are returned.

    Slots are never removed, so a total below what there is raises Invalid. Asking twice adds
    nothing the second time. Raises Invalid and NotPermitted.
    """
    site_id = station.machine.site_id
    subject = Subject("station", station.pk, str(station))
    with recorded(by=by, action=SLOTS_ADDED, subject=subject, site_id=site_id):
        require(by, Verb.EQUIPMENT_EDIT, site_id, subject)
        # One at a time for a station, so that two people adding slots don't collide.
        Station.objects.select_for_update().get(pk=station.pk)
        present = Slot.objects.filter(station=station).count()
        checks = Checks()
        wanted = int(checks.number("total", total, SLOT_COUNT))
        if not checks.problems and wanted < present:
            checks.fault("total", total, f"at least {present}: slots are never removed")
        checks.done()
        write_slots([station.pk], [wanted])
        return list(Slot.objects.filter(station=station, number__gt=present).order_by("number"))


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
