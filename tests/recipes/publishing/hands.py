"""What tests of publishing do over and over: orders, races, and looking at slots."""

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from time import sleep
from typing import Any, TypeVar

from django.db import connection, transaction

from audit.errors import DomainError
from people.persons.models import User
from recipes.coffees.models import Recipe
from recipes.publishing.actions import publish
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.run import complete, place_batch
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.versions.models import Version
from stations.equipment.models import Slot
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from tests.bar import DOUBLE, Bar, approved, draft
from tests.cast import credentials
from tests.publishing import ordered, plan_of

T = TypeVar("T")
SHORT = {**DOUBLE, "water_volume": ("60", "2", "2"), "beverage_mass": ("30.0", "2", "2")}


def at_slot(slot: Slot) -> Scope:
    """The scope of one slot."""
    return Scope(Where.STATIONS, (slot.station_id,), (slot.number,))


def other_version(bar: Bar, drink: str = "Short") -> Version:
    """An approved version of another recipe."""
    recipe = Recipe.objects.create(coffee=bar.version.recipe.coffee, drink=drink)
    return approved(bar.cast, draft(bar.cast, SHORT, recipe))


def next_week() -> When:
    """A moment that is surely not due yet."""
    day: date = (datetime.now(UTC) + timedelta(days=7)).date()
    return When(day, time(6))


def order_for(version: Version, by: User, scope: Scope, when: When | None = None) -> dict[str, Any]:
    """What this person would sign, having just seen the plan."""
    seen = plan_of(version, by, scope, when)
    return ordered(version, scope, when or When(), "New crop", seen.digest, acknowledged=True)


def signing(order: dict[str, Any], by: User) -> partial[Publication]:
    """The signature, still to be given."""
    return partial(publish, **order, by=by, credentials=credentials(by))


def split(outcomes: Sequence[T | Exception]) -> tuple[list[T], list[DomainError]]:
    """Who got through, and who was told no; any other exception fails the test."""
    lost = [each for each in outcomes if isinstance(each, DomainError)]
    won = [each for each in outcomes if not isinstance(each, Exception)]
    assert len(lost) + len(won) == len(outcomes), outcomes
    return won, lost


def later(seconds: float, act: Callable[[], T]) -> Callable[[], T]:
    """The same, begun a little later."""

    def run() -> T:
        sleep(seconds)
        return act()

    return run


def work(publication_id: int, at_most: int) -> int:
    """What a worker does, in batches of this size."""
    placed = 0
    while done := place_batch(publication_id, at_most):
        placed += done
    complete(publication_id)
    return placed


def load(bar: Bar, publication: Publication, most: int = 99, **differing: str) -> None:
    """Key in and read back the first slots of it, as they should be."""
    rows = Placement.objects.in_force().filter(basis_id=publication.pk).with_place()
    for placement in rows.order_by("slot")[:most]:
        values = {code: each["value"] for code, each in placement.settings.values.items()}
        read_back(
            by=bar.cast.head_roaster, slot=placement.slot, seen_placement=placement.pk,
            found={**values, **differing},
        )  # fmt: skip


def make_due(publication: Publication) -> None:
    """No clock can be moved: as superuser, with every guard aside, the moment is."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        for table, column in (
            ("stations_placement", "basis = 'publication' AND basis_id"),
            ("recipes_publicationsite", "publication_id"),
        ):
            cursor.execute(
                f"UPDATE {table} SET due_at = now() - interval '1 s' WHERE {column} = %s",
                [publication.pk],
            )
        cursor.execute("SET LOCAL session_replication_role = origin")


def in_force(slot: Slot) -> Placement:
    """What the slot holds; fails unless it is exactly one."""
    return Placement.objects.in_force().select_related("settings").get(slot=slot)


def check_counts(publication: Publication) -> None:
    """The counts kept for each site are the placements there are."""
    rows = Placement.objects.filter(basis="publication", basis_id=publication.pk)
    for site in PublicationSite.objects.filter(publication=publication):
        here = rows.filter(site=site.site_id)
        assert here.count() == site.slots
        assert here.filter(started_at__isnull=False).count() == site.placed
        assert here.filter(state="cancelled").count() == site.cancelled
