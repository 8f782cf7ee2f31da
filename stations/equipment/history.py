"""How the history's pages name sites, machines, stations and slots."""

from collections.abc import Collection, Iterable, Mapping

from django.db.models import Q

from audit.reading.choosing import lookup_in
from audit.reading.labels import register_column_of_old, register_label
from audit.registry import SiteShown, register_sites, register_subject
from stations.equipment.models import Machine, Site, Station

FOUND_AT_MOST = 50
# Column words where the model's own are not what a page should say, and units (UCUM).
LABELS = (
    ("stations_site", "altitude", "Altitude", "m"),
    ("stations_station", "pulses_per_millilitre", "Flow meter", "{pulse}/mL"),
    ("stations_station", "temperature_offset", "Temperature offset", "Cel"),
    ("stations_station", "code", "Code on its sheet", ""),
)


def register() -> None:
    """Called once, when the program starts."""
    register_sites(_sites, lookup_in(Site.objects.all))
    register_subject("site", "Site", "stations:site", find=_sites_named)
    register_subject("machine", "Machine", "stations:machine", find=_machines_named)
    register_subject("station", "Station", "stations:station", find=_stations_named)
    register_subject("slot", "Slot", "stations:slot")
    register_column_of_old("stations_machine", "abilities_id", "machine_type_id")
    for table, column, label, unit in LABELS:
        register_label(table, column, label, unit)


def _sites(ids: Collection[int]) -> Mapping[int, SiteShown]:
    rows = Site.objects.filter(pk__in=ids).values_list("pk", "name", "time_zone")
    return {pk: SiteShown(name, zone) for pk, name, zone in rows}


def _sites_named(text: str) -> Iterable[tuple[int, str]]:
    return Site.objects.filter(name__icontains=text).values_list("pk", "name")[:FOUND_AT_MOST]


def _machines_named(text: str) -> Iterable[tuple[int, str]]:
    found = Machine.objects.filter(name__icontains=text).select_related("site")[:FOUND_AT_MOST]
    return [(machine.pk, f"{machine.site} · {machine}") for machine in found]


def _stations_named(text: str) -> Iterable[tuple[int, str]]:
    """By the machine's name, or the code on the sheet."""
    named = Q(machine__name__icontains=text) | Q(code=text)
    found = Station.objects.filter(named).with_equipment()[:FOUND_AT_MOST]
    return [(station.pk, f"{station.machine.site} · {station}") for station in found]
