"""Which sites and slots fit what was asked: decided by queries that know who asks."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery

from people.persons.models import User
from people.persons.verbs import Verb
from recipes.grid.asked import EMPTY, Asked
from recipes.versions.models import Version
from stations.equipment.models import Site, Slot
from stations.slots.models import Placement
from stations.slots.then import held, in_condition, other_since
from web.paging import Page, keyset

OFTEN = {"matches", "to_load"}  # what many slots are at a moment
MOST_SITES = 24  # of one window
MOST_SLOTS = 100  # of one window, unless its first site alone has more


def matching(user: User, asked: Asked) -> Any:  # noqa: ANN401
    """The placements held then that fit, of slots that this person may see."""
    rows = held(asked.at, Placement.objects.covered_by(user))
    if asked.coffee or asked.recipe:
        rows = rows.filter(settings__content_digest__in=_contents(asked))
    if asked.since:
        rows = other_since(rows, asked.since)
    if asked.state:
        rows = in_condition(rows, asked.state, asked.at)
    return rows


def _contents(asked: Asked) -> QuerySet[Any, Any]:
    """What settings name of the versions that were ever signed of this coffee or recipe."""
    versions = Version.objects.exclude(content_digest="").exclude(signature=None)
    if asked.coffee:
        versions = versions.filter(recipe__coffee=asked.coffee)
    if asked.recipe:
        versions = versions.filter(recipe=asked.recipe)
    return versions.values("content_digest")


def fitting(user: User, asked: Asked) -> Any:  # noqa: ANN401
    """The slots that fit, of those this person may see."""
    slots = Slot.objects.covered_by(user)
    if asked.state == EMPTY:
        return _nothing_held(asked, slots)
    return slots.filter(pk__in=matching(user, asked).values("slot")) if asked.narrowed else slots


def _nothing_held(asked: Asked, slots: Any) -> Any:  # noqa: ANN401
    """What is empty has no coffee and no recipe, and was not changed."""
    if asked.coffee or asked.recipe or asked.since:
        return slots.none()
    return slots.exclude(pk__in=held(asked.at).values("slot"))


def sites_for(user: User, asked: Asked) -> Any:  # noqa: ANN401
    """The sites this person may see the slots of, with at least one slot that fits."""
    sites = Site.objects.covered_by(user, Verb.SLOT_VIEW)
    if asked.site:
        sites = sites.filter(name__icontains=asked.site)
    if asked.state == EMPTY:
        return sites.filter(pk__in=fitting(user, asked).values("station__machine__site"))
    if asked.at and asked.state and asked.state in OFTEN:
        return _walked(sites, matching(user, asked))
    return sites.filter(pk__in=matching(user, asked).values("site")) if asked.narrowed else sites


def _walked(sites: Any, rows: Any) -> Any:  # noqa: ANN401
    """Sites with one of these placements, looked at one after the other until a page is full.

    Without it every placement of the chain is judged before the first site is known: that costs
    the same on the last page, and many times as much on the others.
    """
    first = rows.filter(site=OuterRef("pk")).order_by().values("pk")[:1]
    return sites.alias(fits=Subquery(first)).filter(fits__isnull=False)


def window(user: User, asked: Asked, address: Mapping[str, str]) -> Page[Site]:
    """The sites of one page: as many as have about ``MOST_SLOTS`` slots. Two queries."""
    page = keyset(sites_for(user, asked), "name", address, size=MOST_SITES)
    backwards = "before" in address
    rows = page.rows[::-1] if backwards else page.rows
    kept = rows[: _room(rows)]
    if len(kept) == len(rows):
        return page
    edge = kept[-1].name
    if backwards:
        return replace(page, rows=kept[::-1], before=edge)
    return replace(page, rows=kept, after=edge)


def _room(sites: list[Site]) -> int:
    """How many of the sites, from the first on, one page has room for: one at least."""
    counts, slots = Slot.objects.count_by_site(site.pk for site in sites), 0
    for at, site in enumerate(sites):
        slots += counts.get(site.pk, 0)
        if at and slots > MOST_SLOTS:
            return at
    return len(sites)
