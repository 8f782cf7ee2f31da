"""The equipment that is there already, as far as a file speaks of it: four queries."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb
from stations.models import AbilitySet, Machine, Site, Station


@dataclass(frozen=True)
class Present:
    """What the database holds, by the names a file uses."""

    sites: dict[str, Site]
    site_names: dict[str, str]
    abilities: dict[str, AbilitySet]
    machines: dict[tuple[str, str], Machine]
    stations: dict[tuple[str, str, int], Any]
    covered: frozenset[int] | None

    def may_touch(self, site_code: str) -> bool:
        """Whether the person's role covers that site; a new one needs a role over all."""
        site = self.sites.get(site_code)
        return self.covered is None or (site is not None and site.pk in self.covered)


def look(codes: Iterable[str], names: Iterable[str], by: User) -> Present:
    """Read what is there of these site codes; site names that others bear as well."""
    wanted = set(codes)
    sites = {site.code: site for site in Site.objects.filter(code__in=wanted)}
    machines = Machine.objects.filter(site__in=sites.values()).select_related("site", "abilities")
    stations = (
        Station.objects.filter(machine__site__in=sites.values())
        .with_slot_count()
        .select_related("machine__site")
    )
    return Present(
        sites=sites,
        site_names=dict(Site.objects.filter(name__in=set(names)).values_list("name", "code")),
        abilities={found.name: found for found in AbilitySet.objects.all()},
        machines={(m.site.code, m.name): m for m in machines},
        stations={(s.machine.site.code, s.machine.name, s.number): s for s in stations},
        covered=covered_sites(by, Verb.EQUIPMENT_IMPORT),
    )
