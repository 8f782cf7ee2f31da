"""What a plan takes the place of: versions, values set by hand, deviation permits."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse

from recipes.publishing.plan import Held, PublicationLine, PublicationPlan
from recipes.versions.models import Version
from stations.slots.models import Placement
from web.printing import counted

EMPTY, BY_HAND, UNKNOWN = "empty until now", "set by hand", "no approved version"


@dataclass(frozen=True, slots=True)
class Replaced:
    """One thing that slots hold now and the plan replaces; ``other`` if of another recipe."""

    what: str
    slots: int
    version: Version | None = None
    other: bool = False

    @property
    def count(self) -> str:
        """In how many slots."""
        return counted(self.slots, "slot")


@dataclass(frozen=True, slots=True)
class EndedPermit:
    """A deviation permit that ends in some slots, since the plan takes them over."""

    pk: int
    places: list[str]

    @property
    def url(self) -> str:
        """The permit's page."""
        return reverse("recipes:permit", args=[self.pk])


def replaced(plan: PublicationPlan) -> list[Replaced]:
    """What the slots to be placed hold now, the most first: one query."""
    digests = {line.held.content_digest for line in plan.to_place if line.held} - {""}
    rows = Version.objects.with_recipe().signed_as(digests)
    known = {version.content_digest: version for version in rows}
    counts = Counter(_key(line.held) for line in plan.to_place)
    found = [_replaced(key, count, known, plan.version) for key, count in counts.items()]
    return sorted(found, key=lambda one: (not one.other, -one.slots, one.what))


def _key(held: Held | None) -> str:
    """The digest of the version held; or what is held instead, in words."""
    if held is None:
        return EMPTY
    if held.basis == Placement.Manner.BY_HAND:
        return BY_HAND
    return held.content_digest or UNKNOWN


def _replaced(key: str, slots: int, known: dict[str, Version], mine: Version) -> Replaced:
    version = known.get(key)
    if version is None:
        return Replaced(key if key in (EMPTY, BY_HAND) else UNKNOWN, slots)
    other = version.recipe_id != mine.recipe_id
    return Replaced(str(version) if other else f"version {version.number}", slots, version, other)


def ended_permits(lines: Iterable[PublicationLine], sites: dict[int, str]) -> list[EndedPermit]:
    """The permits that end, each with the slots where it does."""
    places: dict[int, list[str]] = {}
    for line in lines:
        if line.held and line.held.permit_id is not None:
            where = f"{sites[line.slot.site_id]} · {line.slot.place}"
            places.setdefault(line.held.permit_id, []).append(where)
    return [EndedPermit(pk, places[pk]) for pk in sorted(places)]
