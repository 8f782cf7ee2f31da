"""Equipment from a CSV file, all of it or nothing."""

from dataclasses import dataclass

from django.db import connection

from audit.capture.context import recorded
from audit.errors import Subject
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.equipment.actions import write_slots
from stations.equipment.models import Machine, Site, Station
from stations.importing.file import invalid
from stations.importing.plan import ImportPlan, plan_import

EQUIPMENT_IMPORTED = register("equipment.imported", "Imported equipment")

# Writing what a plan adds, a statement for each kind of thing.


def lock_equipment() -> None:
    """Keep others from writing equipment until the transaction ends, so that a plan holds.

    Always in this order, which is also the order in which the pages' actions write.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "LOCK TABLE stations_site, stations_machine, stations_station, stations_slot"
            " IN SHARE ROW EXCLUSIVE MODE"
        )


def write(plan: ImportPlan) -> None:
    """Add the plan's sites, machines, stations and slots."""
    made_sites = Site.objects.bulk_create(
        Site(
            code=code,
            name=line.site_name,
            time_zone=line.time_zone,
            altitude=line.altitude,
        )
        for code, line in plan.sites.items()
        if line.altitude is not None  # always so: a plan's new sites are complete
    )
    sites = {**plan.present.sites, **{site.code: site for site in made_sites}}
    made_machines = Machine.objects.bulk_create(
        Machine(
            site=sites[code], name=name, machine_type=plan.present.machine_types[line.machine_type]
        )
        for (code, name), line in plan.machines.items()
    )
    machines = {
        **plan.present.machines,
        **dict(zip(plan.machines, made_machines, strict=True)),
    }
    stations = Station.objects.bulk_create(
        Station(
            machine=machines[line.site_code, line.machine],
            number=line.station,
            pulses_per_millilitre=line.pulses,
            temperature_offset=line.offset,
        )
        for line in plan.stations
    )
    write_slots([made.pk for made in stations], [line.slots for line in plan.stations])


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What an import added, and how many stations of the file were there already."""

    sites: int
    machines: int
    stations: int
    slots: int
    unchanged: int


def import_equipment(*, by: User, text: str) -> ImportReport:
    """Add the equipment of a CSV text (see stations.importing.file).

    Asking twice adds nothing the second time. Raises Invalid, naming every bad line, and
    NotPermitted; nothing is written then.
    """
    subject = Subject("equipment", None, "equipment file")
    with recorded(by=by, action=EQUIPMENT_IMPORTED, subject=subject) as recording:
        require(by, Verb.EQUIPMENT_IMPORT, subject=subject)
        lock_equipment()
        plan = plan_import(text, by)
        if plan.faults:
            raise invalid(plan.faults)
        recording.because(plan.reasons)
        write(plan)
    return report_of(plan)


def report_of(plan: ImportPlan) -> ImportReport:
    """What a plan adds, in numbers."""
    return ImportReport(
        sites=len(plan.sites),
        machines=len(plan.machines),
        stations=len(plan.stations),
        slots=plan.slots,
        unchanged=plan.unchanged,
    )
