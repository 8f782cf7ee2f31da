"""Batches of events: each taken once, in whatever order, and nothing lost that came."""

import gzip
import json
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.utils import Error
from django.test.utils import CaptureQueriesContext

from audit.capture.models import Entry
from stations.gateways.actions import revoke_gateway
from stations.gateways.inbox import GatewayEvent, StationContact
from stations.gateways.models import Gateway
from stations.slots.models import Placement, ReadBack
from tests.cast import Cast
from tests.races import at_once
from tests.stations.conftest import VALUES, Bar, place
from tests.stations.gateways.box import Box, enrolled

pytestmark = pytest.mark.django_db


@pytest.fixture
def box(cast: Cast, bar: Bar) -> Box:
    """One that is enrolled at the harbour."""
    return enrolled(cast.shop_lead, cast.site)[0]


def beat(box: Box, **other: object) -> dict[str, object]:
    told = {"version": "1.1", "driver": "simulator", "waiting": 3, "clock_offset": 0.2,
            "stations": [{"machine": "Left machine", "station": 1, "answers": True},
                         {"machine": "Left machine", "station": 2, "answers": False}]}  # fmt: skip
    return box.event("heartbeat", told | other)


def test_a_heartbeat_is_noted(box: Box) -> None:
    answer = box.report(beat(box))
    assert answer.status_code == 200, answer.content
    told = answer.json()
    assert (told["taken"], told["repeated"], told["refused"]) == (1, 0, [])
    assert (told["through"], told["last"], told["missing"]) == (1, 1, [])
    assert not told["clock_is_wrong"]
    status = Gateway.objects.get().status
    assert (status.version, status.waiting) == ("1.1", 3)
    answers = StationContact.objects.order_by("station").values_list("answers", "answered_at")
    assert [(answers, at is None) for answers, at in answers] == [(True, False), (False, True)]


def test_repeated_reordered_and_missing(box: Box) -> None:
    first, second, third, fourth = (beat(box) for _ in range(4))
    assert box.report(third, first).json()["missing"] == [[2, 2]]
    told = box.report(fourth, third, third).json()
    assert (told["taken"], told["repeated"]) == (1, 2)
    assert (told["through"], told["last"], told["missing"]) == (1, 4, [[2, 2]])
    told = box.report(second).json()
    assert (told["through"], told["missing"]) == (4, [])
    assert GatewayEvent.objects.count() == 4


def test_a_batch_that_repeats_itself(box: Box) -> None:
    one = beat(box)
    told = box.report(one, one).json()
    assert (told["taken"], told["repeated"]) == (1, 1)


def test_the_number_of_another_event_is_no_repetition(box: Box) -> None:
    box.report(beat(box))
    box.sequence = 0  # it lost its outbox
    told = box.report(beat(box)).json()
    assert (told["taken"], told["repeated"]) == (0, 0)
    assert told["refused"][0]["problems"][0]["field"] == "sequence"
    assert told["last"] == 1


def test_an_empty_batch_tells_where_it_stands(box: Box) -> None:
    assert box.report().json()["last"] == 0


@pytest.mark.parametrize("packed", [False, True])
def test_gzip(box: Box, packed: bool) -> None:
    assert box.report(beat(box), packed=packed).json()["taken"] == 1


def test_what_can_not_be_used_is_kept_and_told(box: Box) -> None:
    wrong = [
        beat(box, waiting="3"), beat(box, stations=[{"machine": "No machine", "station": 1,
                                                     "answers": True}]),
        box.event("heartbeat", {}), box.event("nothing", {}), box.event("fault", "x"),
        box.event("fault", {"code": "x", "words": "a\x00b"}),
    ]  # fmt: skip
    told = box.report(*wrong, beat(box)).json()
    assert (told["taken"], len(told["refused"])) == (1, 6)
    assert [each["sequence"] for each in told["refused"]] == [each["sequence"] for each in wrong]
    assert all(each["problems"][0]["allowed"] for each in told["refused"])
    kept = GatewayEvent.objects.filter(state="refused")
    assert kept.count() == 6
    assert all(each.problems for each in kept)
    assert box.report(*wrong).json()["repeated"] == 6


@pytest.mark.parametrize("kind", ["fault", "nothing"])
def test_a_number_that_can_not_be_kept_refuses_its_event_alone(box: Box, kind: str) -> None:
    sent = json.dumps([box.event(kind, {"words": "HERE"}), beat(box)]).replace('"HERE"', "1e400")
    told = box.batch(sent.encode())
    assert told.status_code == 200, told.content
    assert (told.json()["taken"], len(told.json()["refused"])) == (1, 1)


def wrong_envelopes(box: Box) -> list[object]:
    good = beat(box)
    return [
        {**good, "specversion": "0.3"}, {**good, "id": "1"}, {**good, "sequence": "0"},
        {**good, "sequence": 1}, {**good, "sequence": "9" * 19}, {**good, "time": "yesterday"},
        {**good, "time": "2026-11-29T10:00:00"}, {**good, "source": f"urn:uuid:{uuid.uuid4()}"},
        {**good, "more": 1}, {k: v for k, v in good.items() if k != "data"}, 1, [], None,
    ]  # fmt: skip


def test_a_batch_that_is_none(box: Box) -> None:
    for wrong in wrong_envelopes(box):
        answer = box.report(beat(box), wrong)  # type: ignore[arg-type]
        assert answer.status_code == 400, wrong
        assert answer.json()["problems"][0]["field"].startswith("events[1]"), wrong
    assert not GatewayEvent.objects.exists()
    assert box.report(*[beat(box) for _ in range(501)]).status_code == 400
    for body in (b"", b"{", b"\xff", b"[NaN]", b"{}", b"1", b"[" * 100_000):
        assert box.batch(body or b" ").status_code == 400, body[:10]
    assert box.batch(b"[]", kind="application/json").status_code == 415


def test_what_is_packed_is_bounded(box: Box) -> None:
    bomb = gzip.compress(b" " * 9_000_000)
    assert box.batch(bomb, packed=True).status_code == 413
    assert box.batch(b" " * 1_000_001).status_code == 413
    whole = gzip.compress(b"[]")
    for broken in (b"[]", whole[:-4], whole + b"x", whole + whole):
        assert box.batch(broken, packed=True).status_code == 400


def test_a_clock_that_is_wrong_is_measured_and_corrected(box: Box) -> None:
    box.slow = 120
    told = box.report(beat(box)).json()
    assert told["clock_is_wrong"]
    assert told["offset"] == pytest.approx(-120, abs=2)
    event = GatewayEvent.objects.get()
    assert (datetime.now(UTC) - event.at).total_seconds() < 5
    assert (event.at - event.time).total_seconds() == pytest.approx(120, abs=2)


def test_no_event_is_of_tomorrow(box: Box) -> None:
    tomorrow = (datetime.now(UTC) + timedelta(days=1)).isoformat()
    box.report(beat(box) | {"time": tomorrow})
    assert GatewayEvent.objects.get().at <= datetime.now(UTC)


def test_revoked_nothing_is_taken(box: Box, cast: Cast) -> None:
    gateway = Gateway.objects.get()
    revoke_gateway(by=cast.owner, gateway=gateway, revision=gateway.revision)
    assert box.report(beat(box)).status_code == 401
    assert not GatewayEvent.objects.exists()


@pytest.mark.parametrize("change", ["data = '{}'", "sequence = 9", "at = now()"])
def test_what_came_stays_as_it_came(box: Box, change: str) -> None:
    box.report(beat(box))
    with pytest.raises(Error, match="stays as it came"), connection.cursor() as cursor:
        cursor.execute(f"UPDATE stations_gatewayevent SET {change}")


def loaded(box: Box, slot: Any, **other: object) -> dict[str, object]:  # noqa: ANN401
    (one,) = [s for s in box.get("settings").json()["slots"] if s["slot"] == slot.pk]
    told = {"slot": slot.pk, "placement": one["placement"], "digest": one["digest"]}
    return box.event("loaded", told | other)


def test_loaded_is_what_was_served(box: Box, bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    assert box.report(loaded(box, bar.slot)).json()["taken"] == 1
    told = box.report(loaded(box, bar.slot, digest="0" * 64)).json()
    assert told["refused"][0]["problems"][0]["field"] == "data.digest"


def reading(box: Box, placement: Placement, when: datetime | None = None, **found: str) -> Any:  # noqa: ANN401
    values = {code: {**given, "value": found.get(code, given["value"])}
              for code, given in VALUES.items()}  # fmt: skip
    told = box.event("read_back", {
        "slot": placement.slot_id, "placement": placement.pk, "settings": values})  # fmt: skip
    return told | ({"time": when.isoformat()} if when else {})


def test_read_back_is_compared_and_the_history_names_the_gateway(
    box: Box, bar: Bar, cast: Cast
) -> None:
    placement = place(bar.slot, cast.head_roaster)
    told = box.report(reading(box, placement)).json()
    assert (told["taken"], told["refused"]) == (1, [])
    placement.refresh_from_db()
    assert placement.verdict == "matches"
    read = ReadBack.objects.get()
    gateway = Gateway.objects.get()
    assert (read.by, read.gateway, read.who) == (None, gateway, gateway.name)
    entry = Entry.objects.get(action="slot.read_back", table_name="stations_readback")
    assert (entry.actor_id, entry.actor, entry.role) == (None, gateway.name, "gateway")
    assert entry.channel == "gateway"
    assert entry.request_id.startswith(f"gateway-{gateway.pk}-")


def test_the_same_found_again_is_no_news(box: Box, bar: Bar, cast: Cast) -> None:
    placement = place(bar.slot, cast.head_roaster)
    box.report(reading(box, placement), reading(box, placement))
    box.report(reading(box, placement))
    assert ReadBack.objects.count() == 1
    box.report(reading(box, placement, brew_temperature="95"), reading(box, placement))
    assert [each.verdict for each in ReadBack.objects.order_by("pk")] == [
        "matches", "differs", "matches"]  # fmt: skip
    placement.refresh_from_db()
    assert placement.verdict == "matches"


def test_a_late_reading_says_less_than_a_newer_one(box: Box, bar: Bar, cast: Cast) -> None:
    placement = place(bar.slot, cast.head_roaster)
    Placement.objects.filter(pk=placement.pk).update(
        started_at=datetime.now(UTC) - timedelta(days=7)
    )
    box.report(reading(box, placement, brew_temperature="95"))
    box.report(reading(box, placement, datetime.now(UTC) - timedelta(days=6)))
    placement.refresh_from_db()
    assert placement.verdict == "differs"
    assert ReadBack.objects.count() == 2


def test_what_was_left_unread_hides_no_difference_before_it(box: Box, bar: Bar, cast: Cast) -> None:
    placement = place(bar.slot, cast.head_roaster)
    differing, partly = reading(box, placement, brew_temperature="95"), reading(box, placement)
    del partly["data"]["settings"]["brew_temperature"]
    partly["data"]["unread"] = ["brew_temperature"]
    assert box.report(differing, partly).json()["taken"] == 2
    assert [each.verdict for each in ReadBack.objects.order_by("pk")] == ["differs", "unread"]
    placement.refresh_from_db()
    assert placement.verdict == "differs"


@pytest.mark.parametrize("spoil", [
    lambda d: d | {"placement": 999_999}, lambda d: d | {"slot": 999_999},
    lambda d: d | {"settings": {"water_volume": {"value": "x", "unit": "{pulse}"}}},
    lambda d: d | {"settings": {"water_volume": {"value": "280", "unit": "mL"}}},
    lambda d: d | {"settings": {"gravity": {"value": "9", "unit": ""}}},
    lambda d: d | {"settings": {"water_volume": "280"}},
])  # fmt: skip
def test_a_reading_that_can_not_be(
    box: Box, bar: Bar, cast: Cast, spoil: Callable[[Any], Any]
) -> None:
    good = reading(box, place(bar.slot, cast.head_roaster))
    told = box.report(good | {"data": spoil(good["data"])}).json()
    assert told["refused"][0]["problems"][0]["field"].startswith("data.")
    assert not ReadBack.objects.exists()


def test_what_was_not_in_force_then(box: Box, bar: Bar, cast: Cast) -> None:
    before = place(bar.slot, cast.head_roaster)
    place(bar.slot, cast.head_roaster)
    early = reading(box, before, datetime.now(UTC) - timedelta(hours=1))
    assert box.report(early).json()["refused"][0]["problems"][0]["field"] == "data.placement"


def test_another_sites_slots_are_nothing_to_it(box: Box, bar: Bar, cast: Cast) -> None:
    away = place(bar.away.slots.get(), cast.head_roaster)
    told = box.report(
        reading(box, away),
        box.event("loaded", {"slot": away.slot_id, "placement": away.pk, "digest": "0" * 64}),
        box.event("shot", {"slot": away.slot_id, "pulled_at": datetime.now(UTC).isoformat(),
                           "shot_time": "28"}),
    ).json()  # fmt: skip
    assert (told["taken"], len(told["refused"])) == (0, 3)
    assert not ReadBack.objects.exists()


def test_as_many_queries_for_many(box: Box, bar: Bar, cast: Cast) -> None:
    placements = [place(slot, cast.head_roaster) for slot in bar.first.slots.all()]
    counted = []
    for many in (20, 20, 120):
        batch = [reading(box, placements[n % 2], brew_temperature=f"9{n % 7}.5")
                 for n in range(many)]  # fmt: skip
        batch += [beat(box) for _ in range(many)]
        with CaptureQueriesContext(connection) as asked:
            assert box.report(*batch).json()["taken"] == 2 * many
        counted.append(len(asked))
    assert counted[2] <= counted[1]  # after the first, each ends what the one before began


@pytest.mark.django_db(transaction=True)
def test_the_same_batch_twice_at_once(cast: Cast, bar: Bar) -> None:
    box, _ = enrolled(cast.shop_lead, cast.site)
    placement = place(bar.slot, cast.head_roaster)
    batch = [reading(box, placement), *(beat(box) for _ in range(20))]
    first, second = at_once([lambda: box.report(*batch).json()] * 2)
    assert isinstance(first, dict)
    assert isinstance(second, dict)
    assert sorted([first["taken"], second["taken"]]) == [0, 21]
    assert ReadBack.objects.count() == 1
    assert GatewayEvent.objects.count() == 21


def test_schemas_are_published(box: Box) -> None:
    for name in ("event", "loaded", "read_back", "shot", "heartbeat", "fault"):
        answer = box.client.get(f"/api/v1/gateway/schemas/portaledger.{name}.v1.json")
        assert answer["Content-Type"] == "application/schema+json"
        assert json.loads(answer.content)["$schema"].endswith("2020-12/schema")
    assert box.client.get("/api/v1/gateway/schemas/portaledger.x.v1.json").status_code == 404


@pytest.mark.parametrize(
    ("time", "status"),
    [
        ("2067-02-10T14:02:59-16:37", 200),
        ("0001-01-01T00:00:00+14:00", 400),
        ("9999-12-31T23:59:59-14:00", 400),
        ("9999-12-30T00:00:00+00:00", 200),
    ],
)
def test_a_moment_of_any_zone_is_answered(box: Box, time: str, status: int) -> None:
    answer = box.report({**beat(box), "time": time})
    assert answer.status_code == status, answer.content
    assert status == 200 or answer.json()["problems"][0]["field"] == "events[0].time"
