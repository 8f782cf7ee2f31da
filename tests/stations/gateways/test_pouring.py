"""Shots that a gateway saw: judged like those people log, linked to what held when they poured."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from audit.capture.models import Entry
from stations.gateways.inbox import GatewayEvent
from stations.gateways.models import Gateway
from stations.grinders.actions import note_setting
from stations.grinders.models import GrinderEvent
from stations.shots.actions import log_shot, shots_changed
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from tests.cast import Cast
from tests.grinders import grinder_of
from tests.stations.conftest import VALUES, Bar, place
from tests.stations.gateways.box import Box, enrolled

pytestmark = pytest.mark.django_db

CUP = {
    "dose_mass": {"target": "18.0", "below": "0.2", "above": "0.2", "unit": "g"},
    "beverage_mass": {"target": "36.0", "below": "2", "above": "2", "unit": "g"},
    "shot_time": {"target": "28", "below": "3", "above": "3", "unit": "s"},
}
TRACE = {"t": [0, 0.5, 1], "pressure": [0, 3.1, 9], "flow": [0, 2, 1.5]}


@pytest.fixture
def box(cast: Cast, bar: Bar) -> Box:
    """One that is enrolled at the harbour."""
    return enrolled(cast.shop_lead, cast.site)[0]


def shot(box: Box, bar: Bar, when: Any = None, **other: Any) -> Any:  # noqa: ANN401
    told: dict[str, object] = {
        "slot": bar.slot.pk, "pulled_at": (when or datetime.now(UTC)).isoformat(),
        "dose_mass": "18.1", "beverage_mass": "36.4", "shot_time": "27.5", "water_volume": "69",
    }  # fmt: skip
    return box.event("shot", told | other)


def test_it_is_a_shot_like_any(box: Box, bar: Bar, cast: Cast) -> None:
    placement = place(bar.slot, cast.head_roaster, VALUES, CUP)
    told = box.report(shot(box, bar, trace=TRACE)).json()
    assert (told["taken"], told["refused"]) == (1, [])
    made, gateway = CheckShot.objects.get(), Gateway.objects.get()
    assert (made.placement, made.by, made.gateway) == (placement, None, gateway)
    assert (made.dose_mass, made.beverage_mass) == (Decimal("18.1"), Decimal("36.4"))
    assert (made.verdict, made.who) == ("within", gateway.name)
    assert GatewayEvent.objects.filter(shot=made, data__trace=TRACE).exists()
    entry = Entry.objects.get(action="shot.logged")
    assert (entry.actor_id, entry.actor, entry.channel) == (None, gateway.name, "gateway")


def test_it_compares_as_one_that_a_person_logged(box: Box, bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster, VALUES, CUP)
    grinder = grinder_of(bar.first, cast.owner)
    note_setting(cast.barista, grinder, Decimal("4.5"), "Finer")
    figures: Any = {"dose_mass": "18.5", "beverage_mass": "31", "shot_time": "29.25"}
    measured: Any = {code: Decimal(text) for code, text in figures.items()}
    mine = log_shot(by=cast.barista, slot=bar.slot, shot=Weighed(**measured))
    assert box.report(shot(box, bar, **figures)).json()["taken"] == 1
    its = CheckShot.objects.get(by=None)
    same = ("placement_id", "grinder_id", "grind_setting", "opening_id", "verdicts", "verdict",
            "site_id", "dose_mass", "beverage_mass", "shot_time")  # fmt: skip
    assert [getattr(its, name) for name in same] == [getattr(mine, name) for name in same]


def test_late_it_belongs_to_what_held_then(box: Box, bar: Bar, cast: Cast) -> None:
    before = place(bar.slot, cast.head_roaster, VALUES, CUP)
    long_ago = datetime.now(UTC) - timedelta(days=8)
    Placement.objects.filter(pk=before.pk).update(started_at=long_ago)
    late = shot(box, bar, datetime.now(UTC) - timedelta(days=7))
    now = place(bar.slot, cast.head_roaster, VALUES, CUP)
    assert box.report(late, shot(box, bar)).json()["taken"] == 2
    assert [each.placement_id for each in CheckShot.objects.order_by("at")] == [before.pk, now.pk]


def test_each_has_the_mark_of_its_moment(box: Box, bar: Bar, cast: Cast) -> None:
    placed = place(bar.slot, cast.head_roaster, VALUES, CUP)
    now = datetime.now(UTC)
    Placement.objects.filter(pk=placed.pk).update(started_at=now - timedelta(days=9))
    grinder = grinder_of(bar.first, cast.owner)
    for days, mark in ((30, 7), (8, 6), (4, 5)):
        GrinderEvent.objects.create(
            grinder=grinder, kind="set", setting=mark, reason="Finer", by=cast.barista,
            at=now - timedelta(days=days),
        )  # fmt: skip
    box.report(*(shot(box, bar, now - timedelta(days=days)) for days in (2, 5, 8.5)))
    poured = CheckShot.objects.order_by("at").values_list("grind_setting", flat=True)
    assert list(poured) == [7, 6, 5]


def test_too_late_or_for_nothing_it_is_kept(box: Box, bar: Bar, cast: Cast) -> None:
    nothing = shot(box, bar)
    assert box.report(nothing).json()["refused"][0]["problems"][0]["field"] == "data.slot"
    place(bar.slot, cast.head_roaster)
    old = shot(box, bar, datetime.now(UTC) - timedelta(days=40))
    told = box.report(old, shot(box, bar, datetime.now(UTC) - timedelta(days=2))).json()
    assert [each["problems"][0]["field"] for each in told["refused"]] == [
        "data.pulled_at", "data.slot"]  # fmt: skip
    assert GatewayEvent.objects.filter(state="refused").count() == 3


@pytest.mark.parametrize("forgotten", ["dose_mass", "beverage_mass"])
def test_not_weighed_it_is_kept_and_not_judged(
    box: Box, bar: Bar, cast: Cast, forgotten: str
) -> None:
    place(bar.slot, cast.head_roaster, VALUES, CUP)
    event = shot(box, bar)
    del event["data"][forgotten]
    told = box.report(event).json()
    assert (told["taken"], told["refused"]) == (1, [])
    assert not CheckShot.objects.exists()
    assert GatewayEvent.objects.filter(data__shot_time="27.5").exists()


@pytest.mark.parametrize("wrong", [
    {"dose_mass": "0"}, {"dose_mass": "101"}, {"beverage_mass": "-1"}, {"shot_time": "601"},
    {"shot_time": "x"}, {"dose_mass": 18}, {"trace": {}}, {"trace": {"t": [0, 1], "flow": [1]}},
    {"trace": {"t": [0, 0]}}, {"trace": {"t": [0, 1], "flow": ["1", "2"]}}, {"pulled_at": "noon"},
    {"slot": 0}, {"slot": "1"}, {"more": 1},
])  # fmt: skip
def test_what_no_shot_is(box: Box, bar: Bar, cast: Cast, wrong: dict[str, object]) -> None:
    place(bar.slot, cast.head_roaster)
    told = box.report(shot(box, bar, **wrong)).json()
    assert told["refused"][0]["problems"][0]["field"].startswith("data"), told
    assert not CheckShot.objects.exists()


def test_corrected_by_the_clock_of_its_batch(box: Box, bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    box.slow = -200  # ahead
    pulled = datetime.now(UTC) + timedelta(seconds=200)
    assert box.report(shot(box, bar, pulled)).json()["taken"] == 1
    assert abs((CheckShot.objects.get().at - datetime.now(UTC)).total_seconds()) < 5


def test_many_at_once(box: Box, bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster, VALUES, CUP)
    note_setting(cast.barista, grinder_of(bar.first, cast.owner), Decimal("4.5"), "Finer")
    told: list[object] = []
    shots_changed.connect(listen := lambda **given: told.append(given), weak=False)
    counted = []
    for many in (2, 40):
        batch = [shot(box, bar) for _ in range(many)]
        with CaptureQueriesContext(connection) as asked:
            box.report(*batch)
        counted.append(len(asked))
    shots_changed.disconnect(listen)
    assert counted[1] <= counted[0]
    assert len(told) == 2  # once a batch and station
    assert CheckShot.objects.filter(verdict="within").count() == 42
