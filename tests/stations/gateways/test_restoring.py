"""Differences: their window, restoring by policy, its bound, and stations nobody verified since."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.utils import Error
from django.urls import reverse

from audit.alarms import alarms
from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Stale
from stations.gateways.differences import Difference, GatewayPolicy
from stations.gateways.inbox import SlotSeen
from stations.gateways.models import Gateway, GatewayStatus
from stations.gateways.restoring import set_gateway_policy
from stations.gateways.silence import silent, silent_at, verified
from stations.slots.models import Placement
from stations.slots.overwritten import window_of
from stations.slots.read_backs import read_back
from tests.cast import ApiAs, Cast, SignedIn
from tests.stations.conftest import FOUND, VALUES, Bar, place
from tests.stations.gateways.box import Box, enrolled

pytestmark = pytest.mark.django_db


@pytest.fixture
def box(cast: Cast, bar: Bar) -> Box:
    """One that is enrolled at the harbour."""
    return enrolled(cast.shop_lead, cast.site)[0]


@pytest.fixture
def placement(bar: Bar, cast: Cast) -> Placement:
    """What the slot should hold, for an hour."""
    made = place(bar.slot, cast.head_roaster)
    Placement.objects.filter(pk=made.pk).update(started_at=ago(60))
    return made


def ago(minutes: float) -> datetime:
    return datetime.now(UTC) - timedelta(minutes=minutes)


def read(box: Box, placement: Placement, minutes: float, volume: str = "280") -> Any:  # noqa: ANN401
    values = {**VALUES, "water_volume": {"value": volume, "unit": "{pulse}"}}
    told = {"slot": placement.slot_id, "placement": placement.pk, "settings": values}
    return box.event("read_back", told, time=ago(minutes).isoformat())


def load(box: Box, placement: Placement, minutes: float) -> Any:  # noqa: ANN401
    digest = slot_of(box, placement)["digest"]
    told = {"slot": placement.slot_id, "placement": placement.pk, "digest": digest}
    return box.event("loaded", told, time=ago(minutes).isoformat())


def slot_of(box: Box, placement: Placement) -> Any:  # noqa: ANN401
    served = box.get("settings").json()["slots"]
    (one,) = [each for each in served if each["slot"] == placement.slot_id]
    return one


def allow(cast: Cast, most: int = 3) -> None:
    policy = GatewayPolicy.at(cast.site.pk)
    set_gateway_policy(
        by=cast.owner, site=cast.site, revision=policy.revision, restores=True, most=most,
        silent_minutes=10,
    )  # fmt: skip


def in_vain() -> list[str]:
    """Where the alarms lead that say so."""
    return [each.url for each in alarms() if "restored" in each.words]


def test_a_difference_has_its_window(box: Box, placement: Placement) -> None:
    box.report(read(box, placement, 30), read(box, placement, 20))
    box.report(read(box, placement, 10, "300"), read(box, placement, 5, "300"))
    found = Difference.objects.get()
    assert found.good_at is not None
    assert abs(found.good_at - ago(20)) < timedelta(seconds=5)
    assert abs(found.bad_at - ago(10)) < timedelta(seconds=5)
    assert (found.over_at, found.restores) == (None, 0)
    entry = Entry.objects.get(action="difference.found")
    name = Gateway.objects.get().name
    assert (entry.actor, entry.role, entry.subject_type) == (name, "gateway", "slot")
    box.report(read(box, placement, 1))
    assert Difference.objects.get().over_at is not None
    assert Entry.objects.filter(action="difference.over").exists()


def test_who_was_about_is_asked_of_that_window(box: Box, placement: Placement) -> None:
    box.report(
        *(read(box, placement, back) for back in (50, 30, 20)), read(box, placement, 10, "300")
    )
    window = window_of(placement.slot)
    assert window
    assert abs(window.begin - ago(20)) < timedelta(seconds=5)
    assert abs(window.end - ago(10)) < timedelta(seconds=5)


def test_what_was_read_before_and_told_later_stands_where_it_was_read(
    box: Box, placement: Placement
) -> None:
    box.report(read(box, placement, 30), read(box, placement, 10, "300"))
    box.report(read(box, placement, 20))
    window = window_of(placement.slot)
    assert window
    assert abs(window.begin - ago(20)) < timedelta(seconds=5)
    assert abs(window.end - ago(10)) < timedelta(seconds=5)


def test_never_found_right_it_has_no_beginning(box: Box, placement: Placement) -> None:
    box.report(read(box, placement, 10, "300"))
    assert Difference.objects.get().good_at is None


def test_what_is_older_than_what_is_known_begins_nothing(box: Box, placement: Placement) -> None:
    box.report(read(box, placement, 5))
    box.report(read(box, placement, 20, "300"))
    assert not Difference.objects.exists()


def test_without_the_policy_a_person_is_waited_for(box: Box, placement: Placement) -> None:
    box.report(read(box, placement, 10, "300"))
    assert slot_of(box, placement)["restore"] is None


def test_by_policy_it_is_restored_at_once_and_counted(
    box: Box, placement: Placement, cast: Cast
) -> None:
    allow(cast)
    box.report(read(box, placement, 30))
    before = box.get("settings")
    box.report(read(box, placement, 20, "300"))
    answer = box.get(f"settings?since={before.json()['cursor']}", tag=before["ETag"])
    assert [each["slot"] for each in answer.json()["slots"]] == [placement.slot_id]
    first = slot_of(box, placement)["restore"]
    assert first
    box.report(load(box, placement, 19))
    assert slot_of(box, placement)["restore"] is None  # until it is found to differ again
    assert Difference.objects.get().restores == 1
    assert Entry.objects.filter(action="slot.restored", actor=Gateway.objects.get().name).exists()
    box.report(read(box, placement, 18, "300"))
    assert slot_of(box, placement)["restore"] not in (None, first)
    box.report(load(box, placement, 17), read(box, placement, 16))
    found = Difference.objects.get()
    assert (found.restores, found.over_at is None) == (2, False)
    assert slot_of(box, placement)["restore"] is None


def test_it_stops_with_an_alarm(box: Box, placement: Placement, cast: Cast) -> None:
    allow(cast, most=2)
    box.report(read(box, placement, 40))
    for begun in (38, 34):  # somebody saves over it twice, and it is restored twice
        box.report(read(box, placement, begun, "300"))
        assert slot_of(box, placement)["restore"]
        box.report(load(box, placement, begun - 1), read(box, placement, begun - 2))
    assert in_vain() == []
    box.report(read(box, placement, 20, "300"))
    assert slot_of(box, placement)["restore"] is None
    assert Difference.objects.open().get().stopped_at is not None
    assert in_vain() == [reverse("stations:slot", args=[placement.slot_id])]
    box.report(read(box, placement, 1))
    assert in_vain() == []


def test_all_of_it_in_one_batch_is_the_same(box: Box, placement: Placement, cast: Cast) -> None:
    allow(cast, most=2)
    batch = [
        read(box, placement, 40), read(box, placement, 38, "300"), load(box, placement, 37),
        read(box, placement, 36), read(box, placement, 34, "300"), load(box, placement, 33),
        read(box, placement, 32), read(box, placement, 20, "300"),
    ]  # fmt: skip
    assert box.report(*reversed(batch)).json()["taken"] == 8
    told = Difference.objects.order_by("bad_at").values_list("restores", "stopped_at", "over_at")
    assert [(times, bool(stopped), bool(over)) for times, stopped, over in told] == [
        (1, False, True), (1, False, True), (0, True, False)]  # fmt: skip


def test_another_placement_ends_it(box: Box, placement: Placement, bar: Bar, cast: Cast) -> None:
    allow(cast)
    box.report(read(box, placement, 10, "300"))
    now = place(bar.slot, cast.head_roaster)
    assert slot_of(box, now)["restore"] is None
    box.report(read(box, now, 0, "300"))
    assert Difference.objects.get(over_at=None).placement == now
    assert Difference.objects.count() == 2


def test_what_was_found_stays(box: Box, placement: Placement) -> None:
    box.report(read(box, placement, 10, "300"))
    with pytest.raises(Error, match="stays as it was found"):
        connection.cursor().execute("UPDATE stations_difference SET bad_at = now()")


def test_only_an_owner_sets_it(cast: Cast) -> None:
    values: Any = {"revision": 1, "restores": True, "most": 3, "silent_minutes": 10}
    with pytest.raises(NotPermitted):
        set_gateway_policy(by=cast.shop_lead, site=cast.site, **values)
    for name, wrong in (("most", 0), ("most", 21), ("silent_minutes", 1), ("silent_minutes", 1441)):
        with pytest.raises(Invalid, match=name):
            set_gateway_policy(by=cast.owner, site=cast.site, **{**values, name: wrong})
    set_gateway_policy(by=cast.owner, site=cast.site, **values)
    with pytest.raises(Stale):
        set_gateway_policy(by=cast.owner, site=cast.site, **values)


def test_a_gateway_not_heard_of_is_a_matter_and_a_mark(
    box: Box, cast: Cast, signed_in: SignedIn
) -> None:
    board = reverse("stations:board")
    assert not list(silent())
    assert ">Silent<" not in signed_in(cast.owner).get(board).content.decode()
    GatewayStatus.objects.update(seen_at=ago(11))
    (found,) = silent()
    assert found.title == "Harbour: the gateway “Box under the counter” is silent"
    assert silent_at([cast.site.pk]) == {cast.site.pk: 1}
    assert ">Silent<" in signed_in(cast.owner).get(board).content.decode()


def test_a_station_that_never_answers_is_unverified_since(
    box: Box, placement: Placement, cast: Cast, signed_in: SignedIn
) -> None:
    connection.cursor().execute("SET LOCAL session_replication_role = replica")
    Gateway.objects.update(enrolled_at=ago(100))
    connection.cursor().execute("SET LOCAL session_replication_role = origin")
    answers = [{"machine": "Left machine", "station": 1, "answers": True},
               {"machine": "Left machine", "station": 2, "answers": False}]  # fmt: skip
    told = {"version": "1", "driver": "d", "waiting": 0, "clock_offset": 0, "stations": answers}
    box.report(read(box, placement, 1), box.event("heartbeat", told))
    first, second = verified(cast.site)
    assert (first.answers, first.unverified_since) == (True, None)
    assert second.answers is False
    assert second.unverified_since is not None
    assert second.unverified_since < ago(99)
    (found,) = silent()
    assert found.title == "Harbour: Left machine, station 2 does not answer"
    page = signed_in(cast.shop_lead).get(cast.site.get_absolute_url()).content.decode()
    assert page.count("Unverified") == 1
    SlotSeen.objects.update(at=ago(30))
    assert verified(cast.site)[0].unverified_since is not None


def test_without_a_gateway_nothing_is_said(bar: Bar, cast: Cast) -> None:
    assert verified(cast.site) == []


def test_a_slot_that_nobody_reads_any_more_is_unverified_wherever_it_stands(
    box: Box, placement: Placement, cast: Cast, signed_in: SignedIn, api_as: ApiAs
) -> None:
    station = placement.slot.station
    box.report(read(box, placement, 30))
    pages = [
        reverse("stations:slot", args=[placement.slot_id]),
        reverse("stations:station", args=[station.pk]),
        reverse("stations:at", args=[station.code]),
        reverse("stations:site", args=[cast.site.pk]),
    ]
    browser, endpoint = signed_in(cast.shop_lead), f"/api/v1/slots/{placement.slot_id}/"
    for address in pages:
        told = browser.get(address).content.decode()
        assert "Unverified" in told, address
        # Lines of a reading that has its moment beside it stay as they were read.
        assert "Matches" not in told.split("<dt>Read back</dt>")[0], address
    assert api_as(cast.shop_lead).get(endpoint).json()["unverified_since"]
    today = browser.get(reverse("stations:today", args=[cast.site.pk])).content.decode()
    assert "Not verified since" in today
    seen = Placement.objects.in_force().get(slot=placement.slot_id)
    read_back(by=cast.shop_lead, slot=placement.slot, found=FOUND, seen_placement=seen.pk)
    for address in pages[:3]:
        told = browser.get(address).content.decode()
        assert "Unverified" not in told, address
    assert api_as(cast.shop_lead).get(endpoint).json()["unverified_since"] is None
