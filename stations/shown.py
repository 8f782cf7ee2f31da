"""How the equipment is shown on the history's pages."""

from collections.abc import Iterable, Mapping

from audit.registry import SiteShown, register_sites, register_subject
from stations.models import AbilitySet, Machine, Site

FOUND_AT_MOST = 50


def register() -> None:
    """Called once, when the program starts."""
    register_sites(_sites)
    register_subject("site", "Site", "stations:site", find=_sites_named)
    register_subject("machine", "Machine", "stations:machine", find=_machines_named)
    register_subject("station", "Station", "stations:station")
    register_subject("slot", "Slot", "stations:slot")
    register_subject("ability set", "Abilities", "stations:ability_set", find=_abilities_named)


def _sites() -> Mapping[int, SiteShown]:
    rows = Site.objects.values_list("pk", "name", "time_zone")
    return {pk: SiteShown(name, zone) for pk, name, zone in rows}


def _sites_named(text: str) -> Iterable[tuple[int, str]]:
    return Site.objects.filter(name__icontains=text).values_list("pk", "name")[:FOUND_AT_MOST]


def _machines_named(text: str) -> Iterable[tuple[int, str]]:
    found = Machine.objects.filter(name__icontains=text).select_related("site")[:FOUND_AT_MOST]
    return [(machine.pk, f"{machine.site} · {machine}") for machine in found]


def _abilities_named(text: str) -> Iterable[tuple[int, str]]:
    return AbilitySet.objects.filter(name__icontains=text).values_list("pk", "name")[:FOUND_AT_MOST]
