"""Lots that publications wait for, and sites that open them."""

from datetime import timedelta

from django.utils import timezone

from people.persons.models import User
from recipes.coffees.actions import add_lot
from recipes.coffees.models import RoastLot
from recipes.publishing.timing import When
from recipes.versions.models import Version
from stations.equipment.models import Site, Station
from stations.lots.actions import open_at, open_lot
from stations.lots.models import LotOpening
from tests.bar import Bar


def lot_of(version: Version, by: User, code: str = "R1", age: int = 12) -> RoastLot:
    """A roast of the version's coffee, so many days ago."""
    roasted = timezone.now().date() - timedelta(days=age)
    return add_lot(by=by, coffee=version.recipe.coffee, code=code, roasted_on=roasted)


def with_lot(bar: Bar, code: str = "R1") -> When:
    """When a site opens that new lot of the bar's coffee."""
    return When(lot=lot_of(bar.version, bar.cast.head_roaster, code))


def station_at(site: Site, number: int = 0) -> Station:
    """One of the site's stations; none of them has a grinder."""
    here = Station.objects.filter(machine__site=site).order_by("pk")
    found: Station = here.select_related("machine__site")[number]
    return found


def opening(lot: RoastLot, at: Station, by: User) -> LotOpening:
    """The bag, opened there after a look at what is open."""
    current = open_at(at)
    return open_lot(
        by=by, at=at, seen_opening=current.pk if current else None, code=lot.code,
        coffee=lot.coffee.name, confirmed=True, reason="Nothing else is there",
    )  # fmt: skip
