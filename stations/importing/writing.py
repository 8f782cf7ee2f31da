"""Writing what a plan adds, a statement for each kind of thing."""

from django.db import connection

from stations.actions.stations import write_slots
from stations.importing.plan import Plan
from stations.models import Machine, Site, Station


def lock_equipment() -> None:
    """Keep others from writing equipment until the transaction ends, so that a plan holds.

    Always in this order, which is also the order in which the pages' actions write.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "LOCK TABLE stations_site, stations_machine, stations_station, stations_slot"
            " IN SHARE ROW EXCLUSIVE MODE"
        )


def write(plan: Plan) -> None:
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
        Machine(site=sites[code], name=name, abilities=plan.present.abilities[line.abilities])
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
