"""What one comes from: a shot, read-back, kept chart or tasting that is to be evidence."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from people.persons.verbs import Verb
from recipes.requests.evidence import KINDS, About, Attached, Kind
from recipes.versions.models import Version
from stations.equipment.models import Site, Slot
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest


@dataclass(frozen=True, slots=True)
class Thing:
    """What is to be used as evidence, where it was seen, and what it is about."""

    kind: Kind
    row: Any
    site: Site
    slot: Slot | None
    approved: Version | None

    @property
    def words(self) -> str:
        """In a line."""
        return self.kind.words(self.row)

    @property
    def back(self) -> str:
        """Where it was seen."""
        url: str = (self.slot or self.row).get_absolute_url()
        return url

    @property
    def attached(self) -> Attached:
        """It alone."""
        return Attached.of(**{self.kind.name: [self.row.pk]})

    @property
    def new_request(self) -> str:
        """A new request with it ticked already; empty where there is nothing to ask a change of."""
        asked: dict[str, int] = {self.kind.field: self.row.pk}
        if self.slot is not None:
            asked = {"slot": self.slot.pk} | asked
        elif self.approved is None:
            return ""
        else:
            asked = {"version": self.approved.pk, "site": self.site.pk} | asked
        return f"{reverse('recipes:request_new')}?{urlencode(asked)}"


def initial_ticks(request: PageRequest) -> dict[str, object]:
    """What one comes from is ticked already. Raises Invalid."""
    return {kind.name: [pk] if (pk := _asked(request, kind)) else [] for kind in KINDS.values()}


def _asked(request: PageRequest, kind: Kind) -> int | None:
    return asked_number(request, kind.field) if kind.field in request.GET else None


def asked_thing(request: PageRequest) -> Thing:
    """What is to be used, of a site one covers. Raises Http404, Invalid."""
    named = [kind for kind in KINDS.values() if kind.field in request.GET]
    kind = named[0] if named else KINDS["shots"]
    pk = asked_number(request, kind.field)
    row: Any = one_or_404(kind.covered(request.user).select_related(*kind.related), pk)
    slot: Slot | None = getattr(row, "slot", None)
    if slot is not None:
        return Thing(kind, row, slot.station.machine.site, slot, None)
    return Thing(kind, row, row.site, None, _approved(kind.recipes(row)))


def _approved(recipes: Collection[int]) -> Version | None:
    """The approved version of the first recipe that has one."""
    found: Version | None = Version.objects.approved().filter(recipe__in=recipes).first()
    return found


def about(request: PageRequest, base: Version, slot: Slot | None) -> About | None:
    """What a new request is about, once it is clear which site asks; None until then."""
    if slot is not None:
        return About(base, slot.station.machine.site, slot)
    sites = Site.objects.covered_by(request.user, Verb.REQUEST_MAKE)
    if "site" in request.GET:
        return About(base, one_or_404(sites, asked_number(request, "site")))
    first = list(sites[:2])
    return About(base, first[0]) if len(first) == 1 else None
