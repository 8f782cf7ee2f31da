"""A grinder, and a bag open at it, for tests that need one."""

from datetime import timedelta
from decimal import Decimal

from django.utils import timezone

from people.persons.models import User
from recipes.coffees.actions import add_lot
from recipes.coffees.models import Coffee
from stations.equipment.models import Station
from stations.grinders.actions import add_grinder
from stations.grinders.models import Grinder
from stations.lots.actions import open_at, open_lot
from stations.lots.models import LotOpening


def grinder_of(station: Station, by: User, setting: str = "12", finer: str = "lower") -> Grinder:
    """One that serves this station, standing at that mark."""
    site = station.machine.site
    return add_grinder(
        by=by, site=site, name=f"{site} grinder", finer=finer, stations=[station],
        setting=Decimal(setting), step=Decimal("0.5"), marks_per_turn=Decimal(50),
    )  # fmt: skip


def opened_at(at: Grinder | Station, coffee: Coffee, by: User, age: int = 12) -> LotOpening:
    """A lot of that coffee, so many days off roast, open there."""
    roasted = timezone.now().date() - timedelta(days=age)
    lot = add_lot(by=by, coffee=coffee, code=f"R{at.pk}-{age}", roasted_on=roasted)
    current = open_at(at)
    return open_lot(
        by=by, at=at, seen_opening=current.pk if current else None, code=lot.code,
        coffee=coffee.name, confirmed=True, reason="Nothing else is there",
    )  # fmt: skip
