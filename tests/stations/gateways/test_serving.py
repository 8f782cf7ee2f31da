"""What a gateway is served: its own site's slots, once, changed or as signed, and nothing else."""

import hashlib

import pytest
import rfc8785
from django.db import connection
from django.test.utils import CaptureQueriesContext

from stations.equipment.actions import change_machine
from stations.equipment.models import Slot
from stations.gateways.authentication import Often
from stations.machine_types.actions import change_machine_type
from stations.slots import signed
from stations.slots.by_hand import set_by_hand
from tests.cast import Cast
from tests.stations.conftest import FOUND, VALUES, Bar, place, reaches
from tests.stations.gateways.box import Box, enrolled

pytestmark = pytest.mark.django_db


@pytest.fixture
def box(cast: Cast, bar: Bar) -> Box:
    """One that is enrolled at the harbour."""
    return enrolled(cast.shop_lead, cast.site)[0]


def test_every_slot_of_its_site(box: Box, bar: Bar, cast: Cast) -> None:
    placement = place(bar.slot, cast.head_roaster)
    place(bar.away.slots.get(), cast.head_roaster)
    told = box.get("settings").json()
    assert (told["site"], told["whole"], told["next_poll"]) == (cast.site.code, True, 15)
    here = Slot.objects.filter(station__machine__site=cast.site).values_list("pk", flat=True)
    assert {each["slot"] for each in told["slots"]} == set(here)
    (one,) = [each for each in told["slots"] if each["placement"]]
    assert one["placement"] == placement.pk
    assert one["settings"] == VALUES
    assert (one["locked"], one["problem"]) == (True, "")
    assert one["ranges"]["brew_temperature"] == {
        "low": "85", "high": "98", "step": "0.1", "unit": "Cel"}  # fmt: skip
    assert one["signed"]["digest"] == "0" * 64


def test_the_digest_can_be_worked_out(box: Box, bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    for one in box.get("settings").json()["slots"]:
        told = {name: one[name] for name in ("placement", "settings", "slot")}
        assert hashlib.sha256(rfc8785.dumps(told)).hexdigest() == one["digest"]


def test_nothing_changed_is_one_query(box: Box, bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    tag = box.get("settings")["ETag"]
    box.get("settings")
    with CaptureQueriesContext(
        connection,
    ) as asked:
        answer = box.get("settings", tag=tag)
    assert (answer.status_code, answer.content) == (304, b"")
    assert answer["ETag"] == tag
    # The key, and the state of its site.
    assert len(asked) == 2, [each["sql"] for each in asked]


def test_what_changed_since_a_cursor(box: Box, bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    first = box.get("settings").json()
    nothing = box.get(f"settings?since={first['cursor']}").json()
    assert (nothing["whole"], nothing["slots"]) == (False, [])
    other = bar.second.slots.get(number=1)
    placement = place(other, cast.head_roaster)
    then = box.get(f"settings?since={first['cursor']}").json()
    assert [(each["slot"], each["placement"]) for each in then["slots"]] == [
        (other.pk, placement.pk)]  # fmt: skip
    unknown = box.get(f"settings?since={'0' * 32}").json()
    assert (unknown["whole"], len(unknown["slots"])) == (True, 4)


def test_set_by_hand_is_told_and_is_not_to_be_loaded(box: Box, bar: Bar, cast: Cast) -> None:
    set_by_hand(by=cast.shop_lead, slot=bar.slot, values=FOUND)
    (one,) = [each for each in box.get("settings").json()["slots"] if each["placement"]]
    assert (one["locked"], one["signed"]) == (False, None)


def test_what_machines_can_be_set_to_counts(box: Box, bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    tag = box.get("settings")["ETag"]
    change_machine_type(
        by=cast.head_roaster, machine_type=bar.machine_type, revision=bar.machine_type.revision,
        name="Two boilers", ends_by=["volume"], abilities=reaches(),
    )  # fmt: skip
    assert box.get("settings", tag=tag).status_code == 200


def test_a_machine_of_another_name_is_told_anew(box: Box, bar: Bar, cast: Cast) -> None:
    first = box.get("settings")
    change_machine(
        by=cast.owner, machine=bar.machine, revision=bar.machine.revision, name="Right machine",
        machine_type=bar.machine_type,
    )  # fmt: skip
    then = box.get(f"settings?since={first.json()['cursor']}", tag=first["ETag"])
    assert then.status_code == 200
    assert {each["machine"] for each in then.json()["slots"]} == {"Right machine"}


def test_what_is_not_as_signed_is_withheld_each_time(
    box: Box, bar: Bar, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    placement = place(bar.slot, cast.head_roaster)
    tag = box.get("settings")["ETag"]
    monkeypatch.setattr(signed, "_checkers", [lambda rows: {placement.pk: "the settings"}])
    answer = box.get("settings")
    (one,) = [each for each in answer.json()["slots"] if each["placement"]]
    assert (one["settings"], one["signed"]) == ({}, None)
    assert "do not load" in one["problem"]
    since = box.get(f"settings?since={answer.json()['cursor']}").json()
    assert (since["whole"], [each["problem"] for each in since["slots"]]) == (
        False, [one["problem"]])  # fmt: skip
    again = box.get("settings", tag=answer["ETag"])
    assert again.status_code == 200
    monkeypatch.setattr(signed, "_checkers", [])
    over = box.get(f"settings?since={since['cursor']}", tag=again["ETag"])
    assert [each["problem"] for each in over.json()["slots"]] == [""]
    assert over.json()["slots"][0]["settings"] == VALUES
    assert over["ETag"] == tag
    assert box.get(f"settings?since={over.json()['cursor']}", tag=tag).status_code == 304


def test_another_sites_gateway_sees_its_own(box: Box, bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    upland, _ = enrolled(cast.owner, cast.other_site)
    told = upland.get("settings").json()
    assert told["site"] == cast.other_site.code
    assert {each["slot"] for each in told["slots"]} == set(
        bar.away.slots.values_list("pk", flat=True)
    )
    cursor = box.get("settings").json()["cursor"]
    assert upland.get(f"settings?since={cursor}").json()["whole"]


@pytest.mark.parametrize("query", ["since=", "since=x", "site=1", f"since={'0' * 32}&since=1"])
def test_what_may_be_asked(box: Box, query: str) -> None:
    assert box.get(f"settings?{query}").status_code == 400


def test_too_often(box: Box, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Often, "rate", "2/min")
    answers = [box.get("settings").status_code for _ in range(3)]
    assert answers == [200, 200, 429]


def test_the_number_of_queries_stays(box: Box, bar: Bar, cast: Cast) -> None:
    counted = []
    for slot in Slot.objects.filter(station__machine=bar.machine):
        place(slot, cast.head_roaster)
        box.get("settings")
        with CaptureQueriesContext(connection) as asked:
            box.get("settings")
        counted.append(len(asked))
    assert counted[0] == counted[-1]
    assert counted[-1] <= 9, counted
