"""No page, no action and nothing that runs by itself asks what takes longer every year."""

import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import resolve, reverse
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from audit.capture.context import recorded
from config.celery import app
from config.schedule import BEAT_SCHEDULE
from recipes.publishing.actions import publish
from recipes.publishing.run import run
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from stations.charts.drifting import note_drift
from stations.equipment.models import Slot
from stations.gateways.batches import Event
from stations.gateways.caller import Caller
from stations.gateways.differences import Difference
from stations.gateways.ingest import take
from stations.gateways.models import Gateway
from stations.gateways.restoring import DIFFERENCE_FOUND
from stations.gateways.schemas import LOADED, READ_BACK, SHOT
from stations.gateways.serving import digest_of, served, settings_of, state_of
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from tests.cast import credentials
from tests.growth.plans import Reading, growing_readings, partial_indexes, pretend
from tests.permissions.conftest import world
from tests.permissions.row import Row
from tests.permissions.rows import ENDPOINTS, PAGES, WIDE_ENDPOINTS, WIDE_PAGES
from tests.permissions.world import World
from tests.publishing import ordered, plan_of

__all__ = ["world"]
pytestmark = pytest.mark.django_db
# What an address is asked for, where asking for nothing is refused or says little.
ASKED = {
    "recipes:publish_plan": "which=every&where=all",
    "recipes:menu_plan": "sites={site}",
    "recipes:grid": "as_of=2026-01-01&since=2025-12-01",
}
ROWS = [row for row in PAGES + WIDE_PAGES + ENDPOINTS + WIDE_ENDPOINTS if row.method == "GET"]
# Once a night these read on purpose what they read; sealing needs what is committed.
NIGHTLY_OR_ALONE = {"audit.tasks.seal", "audit.tasks.offer_checkpoint"}
OFTEN = [
    each["task"] for each in BEAT_SCHEDULE.values()
    if isinstance(each["schedule"], timedelta) and each["task"] not in NIGHTLY_OR_ALONE
]  # fmt: skip


@contextmanager
def nothing_grows() -> Iterator[None]:
    """What is asked within reads no growing table whole. Ends by undoing what was done."""
    slips = dict[str, None]()
    with transaction.atomic():
        with CaptureQueriesContext(connection) as asked:
            yield
        partial = partial_indexes()
        for each in asked:
            slips |= dict.fromkeys(_slips(each["sql"], partial))
        transaction.set_rollback(True)
    assert not slips, "\n" + "\n".join(slips)


def _slips(sql: str, partial: set[str]) -> Iterator[str]:
    if sql.lstrip().startswith(("SELECT", "WITH", "UPDATE", "INSERT", "DELETE")):
        found: list[Reading] = growing_readings(sql, partial)
        yield from (f"{each}\n    {sql[:600]}" for each in found)


@pytest.fixture(scope="module")
def large(world: World, django_db_blocker: DjangoDbBlocker) -> World:
    """The world, with a read-back and a difference, as it would be planned for after years."""
    with django_db_blocker.unblock():
        slot = Slot.objects.get(pk=world.own["slot"]["pk"])
        held = Placement.objects.in_force().select_related("settings").get(slot=slot)
        found = {code: each["value"] for code, each in held.settings.values.items()}
        read_back(by=world.people["L"], slot=slot, seen_placement=held.pk, found=found)
        _differs(held, world.own["gateway"]["pk"])
        pretend()
    return world


def _differs(held: Placement, gateway: int) -> None:
    """What a gateway found: of an empty table every plan costs nothing."""
    with recorded(by=None, action=DIFFERENCE_FOUND):
        Difference.objects.create(
            slot_id=held.slot_id, site_id=held.site_id, placement=held, gateway_id=gateway,
            bad_at=timezone.now(),
        )  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_looking(large: World, row: Row) -> None:
    address = large.address(row.thing, "own")
    kwargs = {key: value for key, value in address.items() if not key.startswith("?")}
    named = [f"{key[1:]}={value}" for key, value in address.items() if key[0] == "?"]
    query = "&".join([*named, ASKED.get(row.name, "").format(site=large.own["site"]["pk"])])
    person = next(large.everywhere[each] for each in row.may if each in large.everywhere)
    with nothing_grows():
        answer = large.browser_of(person).get(
            f"{reverse(row.name, kwargs=kwargs)}?{query}",
            headers={"Idempotency-Key": uuid.uuid4().hex},
        )
        assert answer.status_code < 500


LISTS = [row for row in ROWS if "_api:" in row.name]


@pytest.mark.parametrize("row", LISTS, ids=lambda row: row.id)
def test_oldest_first(large: World, row: Row) -> None:
    address = large.address(row.thing, "own")
    url = reverse(row.name, kwargs={k: v for k, v in address.items() if not k.startswith("?")})
    view = getattr(resolve(url).func, "cls", None)
    if view and "sort" in view.takes():
        person = next(large.everywhere[each] for each in row.may if each in large.everywhere)
        with nothing_grows():
            assert large.browser_of(person).get(f"{url}?sort=id").status_code == 200


@pytest.mark.parametrize("task", OFTEN)
def test_what_runs_by_itself(large: World, task: str) -> None:
    app.loader.import_default_modules()
    with nothing_grows():
        app.tasks[task].run()


def test_a_publication(large: World) -> None:
    who, version = large.bar.cast.head_roaster, large.bar.version
    scope, when = Scope(Where.ALL, slot_numbers=(1, 2)), When()
    with nothing_grows():
        plan = plan_of(version, who, scope)
        given = ordered(version, scope, when, "New crop", plan.digest, acknowledged=True)
        run(publish(by=who, credentials=credentials(who), **given).pk)


def test_a_shot_and_what_follows_from_it(large: World) -> None:
    slot = Slot.objects.get(pk=large.own["slot"]["pk"])
    pulled = Weighed(Decimal("18.1"), Decimal("36.4"), Decimal(28))
    with nothing_grows():
        shot = log_shot(slot=slot, shot=pulled, by=large.bar.cast.head_roaster)
        note_drift(slot.station_id, large.bar.version.content_digest)
        assert shot.pk


def test_a_batch_of_a_gateways_events(large: World) -> None:
    gateway = Gateway.objects.get(pk=large.own["gateway"]["pk"])
    slot, now = large.own["slot"]["pk"], timezone.now()
    held = Placement.objects.in_force().select_related("settings").get(slot=slot)
    loaded = digest_of(slot, held.pk, settings_of(held))
    told = {
        LOADED: {"slot": slot, "placement": held.pk, "digest": loaded},
        READ_BACK: {"slot": slot, "placement": held.pk, "settings": settings_of(held)},
        SHOT: {"slot": slot, "pulled_at": now.isoformat(), "dose_mass": "18.1",
               "beverage_mass": "36.4", "shot_time": "28"},
    }  # fmt: skip
    events = [
        Event(uuid.uuid4(), number, kind, now, data)
        for number, (kind, data) in enumerate(told.items(), start=1)
    ]
    with nothing_grows():
        Gateway.objects.filter(pk=gateway.pk).update(
            enrolled_at=now, code_digest=None, code_until=None
        )
        assert take(by=Caller(gateway), events=events, offset=0).taken == 3
        served(gateway.site, state_of(gateway.site), "")


def test_such_a_question_is_found(large: World) -> None:
    def whole() -> None:
        list(Placement.objects.filter(manner="takes_over").exclude(state="in_force").values("pk"))

    def bounded() -> None:
        list(Placement.objects.filter(pk=1).values("pk"))

    tried: list[tuple[Callable[[], None], bool]] = [(whole, False), (bounded, True)]
    for question, fine in tried:
        try:
            with nothing_grows():
                question()
        except AssertionError:
            assert not fine
        else:
            assert fine
