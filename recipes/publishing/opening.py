"""Publications that wait for a roast lot: each site begins when it opens it.

Openings are never removed, so what has begun stays begun: a lot that was opened before a plan was
signed counts at once, whether or not the bag is finished by now.
"""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime

from django.db import transaction
from django.db.models import F

from audit.errors import Invalid
from recipes.coffees.models import RoastLot
from recipes.planning.plan import PUBLICATION
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.run import start
from recipes.publishing.timing import Due, When, due_at
from recipes.versions.models import Version
from stations.equipment.models import Site
from stations.lots.models import LotOpening
from stations.lots.shelf import Begins
from stations.slots.models import Placement
from web.printing import counted, day


def must_be_of(lot: RoastLot | None, version: Version) -> None:
    """Raise Invalid for a lot of another coffee than the version's."""
    coffee = version.recipe.coffee
    if lot is not None and lot.coffee_id != coffee.pk:
        raise Invalid("lot", lot.code, f"a roast lot of {coffee}")


def dues(sites: Mapping[int, Site], when: When, now: datetime) -> dict[int, Due]:
    """When it comes into force at each site, by id; a query more where that is with a lot."""
    if when.lot is None:
        return {pk: due_at(site, when, now) for pk, site in sites.items()}
    first = _first_bags(when.lot.pk, sites)
    return {pk: _due(site, when.lot, first.get(pk), now) for pk, site in sites.items()}


def _first_bags(lot_id: int, sites: Iterable[int]) -> dict[int, LotOpening]:
    """The first bag of the lot that each site opened, of those that did."""
    bags = LotOpening.objects.filter(lot_id=lot_id, site__in=list(sites)).order_by("-pk")
    return {bag.site_id: bag for bag in bags}


def _due(site: Site, lot: RoastLot, bag: LotOpening | None, now: datetime) -> Due:
    if bag is None:
        return Due(now, f"waits for lot {lot.code}", waits=True)
    return Due(now, f"lot {lot.code} was opened there on {day(bag.opened_at, site.time_zone)}")


# What a scheduled placement waits for, told to pages of slots, which know no publications.


def waited_for(placements: Collection[Placement]) -> dict[int, str]:
    """In words, by placement, of those that wait for their site to open a lot: two queries."""
    mine = [
        each
        for each in placements
        if each.basis == PUBLICATION.basis and each.state == Placement.State.SCHEDULED
    ]
    if not mine:
        return {}
    lots = _lots(mine)
    opened = _opened(lots.values())
    return {
        each.pk: f"when {lot} is opened here"
        for each in mine
        if (lot := lots.get(each.basis_id)) and (lot.pk, each.site_id) not in opened
    }


def _lots(placements: Collection[Placement]) -> dict[int | None, RoastLot]:
    """The lot that each of their publications is with, if any."""
    ids = {each.basis_id for each in placements if each.basis_id}
    rows = Publication.objects.filter(pk__in=ids, lot__isnull=False)
    return {each.pk: each.lot for each in rows.select_related("lot__coffee") if each.lot}


def _opened(lots: Iterable[RoastLot]) -> set[tuple[int, int]]:
    ids = {lot.pk for lot in lots}
    if not ids:
        return set()
    return set(LotOpening.objects.filter(lot_id__in=ids).values_list("lot_id", "site_id"))


def beginning_at(site_id: int) -> list[Begins]:
    """What opening a lot begins at a site that has not opened it: two queries."""
    parts = PublicationSite.objects.filter(
        site=site_id, publication__lot__isnull=False, publication__state__in=["running", "stopped"]
    )
    rows = parts.with_begin().select_related(
        "site", "publication__lot__coffee", "publication__version__recipe__coffee"
    )
    return [_begins(part) for part in rows if part.waits]


def _begins(part: PublicationSite) -> Begins:
    made, slots = part.publication, counted(part.slots - part.placed - part.cancelled, "slot")
    stopped = ", once the publication is resumed" if made.state == made.State.STOPPED else ""
    since = day(part.due_at, part.site.time_zone)
    words = f"{made.version} in {slots}, waiting since {since}{stopped}"
    return Begins(str(made.lot), words, made.get_absolute_url())


# A site opens a lot.


def when_opened(*, lot_id: int, site_id: int, **_: object) -> None:
    """Have the workers place what waited for this, once the opening is committed."""
    # robust: a worker that is never told is made up for by the next sweep.
    transaction.on_commit(lambda: start_waiting(lot_id, site_id), robust=True)


def start_waiting(lot_id: int, site_id: int) -> None:
    """Hand over the publications that have slots left to place there."""
    left = PublicationSite.objects.filter(
        site=site_id, slots__gt=F("placed") + F("cancelled"), publication__lot=lot_id,
        publication__state="running",
    )  # fmt: skip
    for publication_id in left.order_by("publication").values_list("publication", flat=True):
        start(publication_id)
