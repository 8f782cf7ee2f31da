"""Slots over HTTP: what they should hold, read-backs, setting by hand, gateways."""

import itertools
from typing import Any

import pytest
from rest_framework.test import APIClient

from audit.capture.models import Entry
from people.tokens.models import Scope
from stations.slots.models import Placement, ReadBack
from tests.addresses import endpoint_of, every_address, methods_of
from tests.cast import ApiAs, Cast
from tests.stations.conftest import FOUND, VALUES, Bar, place

_keys = itertools.count(1)


def send(api: APIClient, address: str, body: object) -> Any:  # noqa: ANN401
    key = {"Idempotency-Key": f"slot-key-{next(_keys)}"}
    return api.post(f"/api/v1/{address}", body, headers=key)


def test_a_slot_says_what_it_should_hold(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    placement = place(bar.slot, cast.head_roaster)
    answer = api_as(cast.barista).get(f"/api/v1/slots/{bar.slot.pk}/").json()
    assert answer["should_hold"]["id"] == placement.pk
    assert answer["should_hold"]["settings"] == VALUES
    assert answer["should_hold"]["signature"]["name"] == cast.head_roaster.name
    assert (answer["condition"], answer["locked"]) == ("to_load", True)
    empty = api_as(cast.barista).get("/api/v1/slots/?condition=empty").json()["results"]
    assert {row["should_hold"] for row in empty} == {None}
    assert len(empty) == 3


def test_a_read_back_gives_the_verdict(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    placement = place(bar.slot, cast.head_roaster)
    api, address = api_as(cast.shop_lead), f"slots/{bar.slot.pk}/read-backs/"
    body = {"placement": placement.pk, "found": {**FOUND, "water_volume": 281}}
    answer = send(api, address, body)
    assert answer.status_code == 201
    assert answer.json()["verdicts"]["water_volume"] == "differs"
    assert answer.json()["at"]
    listed = api.get(f"/api/v1/{address}").json()["results"]
    assert [row["id"] for row in listed] == [answer.json()["id"]]


@pytest.mark.parametrize(
    "found",
    [
        {"water_volume": "lots"}, {"water_volume": True}, {"water_volume": None},
        {"water_volume": [1]}, {"water_volume": "-1"}, {"water_volume": "1,5"}, {"dose": "1"},
        {"water_volume": "NaN"}, [], "280", None, {f"x{n}": "1" for n in range(200)},
    ],
)  # fmt: skip
def test_what_is_no_reading_is_named(bar: Bar, cast: Cast, api_as: ApiAs, found: object) -> None:
    placement = place(bar.slot, cast.head_roaster)
    body = {"placement": placement.pk, "found": found}
    answer = send(api_as(cast.shop_lead), f"slots/{bar.slot.pk}/read-backs/", body)
    assert answer.status_code == 400
    assert answer.json()["problems"]
    assert not ReadBack.objects.exists()


def test_a_huge_exponent_is_refused_quickly(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    placement = place(bar.slot, cast.head_roaster)
    body = f'{{"placement": {placement.pk}, "found": {{"water_volume": 1e999999999}}}}'
    answer = api_as(cast.shop_lead).post(
        f"/api/v1/slots/{bar.slot.pk}/read-backs/", body, content_type="application/json",
        headers={"Idempotency-Key": "huge-key"},
    )  # fmt: skip
    assert answer.status_code == 400


def test_a_stale_read_back_is_412(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    seen = place(bar.slot, cast.head_roaster)
    place(bar.slot, cast.head_roaster)
    body = {"placement": seen.pk, "found": FOUND}
    answer = send(api_as(cast.shop_lead), f"slots/{bar.slot.pk}/read-backs/", body)
    assert answer.status_code == 412


# With real commits: the refusal must outlive the transaction that the request rolls back.
@pytest.mark.django_db(transaction=True)
def test_setting_a_locked_slot_is_refused_and_recorded(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    api, address = api_as(cast.shop_lead), f"slots/{bar.slot.pk}/set-by-hand/"
    assert send(api, address, {"values": {"water_volume": "281"}}).status_code == 201
    held = place(bar.slot, cast.head_roaster)
    answer = send(api, address, {"values": {"water_volume": "282"}})
    assert answer.status_code == 409
    assert answer.json()["who_may"]
    assert answer.json()["how_to_ask"]
    assert Placement.objects.get(slot=bar.slot, state="in_force") == held
    entry = Entry.objects.get(operation="refused")
    assert (entry.channel, entry.changes["water_volume"]) == ("api", ["280", "282"])


def test_a_gateway_fetches_until_nothing_has_changed(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    place(bar.slot, cast.head_roaster)
    api, address = api_as(cast.shop_lead, Scope.GATEWAY), "/api/v1/sites/harbour/settings/"
    answer = api.get(address)
    assert answer.status_code == 200
    held = [row for row in answer.json()["slots"] if row["placement"]]
    assert [row["settings"] for row in held] == [VALUES]
    assert len(answer.json()["slots"]) == 4
    same = {"If-None-Match": answer["ETag"]}
    assert api.get(address, headers=same).status_code == 304
    place(bar.slot, cast.head_roaster)
    assert api.get(address, headers=same).status_code == 200


def test_a_gateway_reports_each_slot_for_itself(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    first = place(bar.slot, cast.head_roaster)
    other = place(bar.second.slots.get(number=2), cast.head_roaster)
    away = place(bar.away.slots.get(number=1), cast.head_roaster)
    readings = [
        {"slot": first.slot_id, "placement": first.pk, "found": FOUND},
        {"slot": other.slot_id, "placement": other.pk, "found": {"water_volume": "?"}},
        {"slot": other.slot_id, "placement": other.pk, "found": {}},
        {"slot": first.slot_id, "placement": other.pk, "found": FOUND},
        {"slot": away.slot_id, "placement": away.pk, "found": FOUND},
    ]
    api = api_as(cast.technician, Scope.GATEWAY)
    answer = send(api, "sites/harbour/read-backs/", {"read_backs": readings})
    assert answer.status_code == 200
    rows = answer.json()["read_backs"]
    assert [row["verdict"] for row in rows] == ["matches", "", "differs", "", ""]
    assert rows[1]["problems"][0]["field"] == "water_volume"
    assert all(row["stale"] for row in rows[3:])
    states = dict(Placement.objects.values_list("pk", "verdict"))
    assert states == {first.pk: "matches", other.pk: "differs", away.pk: "unread"}
    channels = Entry.objects.filter(table_name="stations_readback").values_list(
        "channel", flat=True
    )
    assert list(channels) == ["gateway", "gateway"]


def test_a_gateway_reports_a_single_slot_too(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    placement = place(bar.slot, cast.head_roaster)
    api = api_as(cast.technician, Scope.GATEWAY)
    body = {"placement": placement.pk, "found": FOUND}
    answer = send(api, f"slots/{bar.slot.pk}/read-backs/", body)
    assert (answer.status_code, answer.json()["verdict"]) == (201, "matches")
    assert Entry.objects.filter(table_name="stations_readback", channel="gateway").count() == 1
    assert api.get(f"/api/v1/slots/{bar.slot.pk}/read-backs/").status_code == 403
    reader = api_as(cast.shop_lead, Scope.READ)
    assert send(reader, f"slots/{bar.slot.pk}/read-backs/", body).status_code == 403


REPORTS = {"stations_api:read_backs": {"post"}}  # of one slot, as its own endpoint of a site's
OPEN = {"api_schema", "api_docs", "web_api:problems"}  # words about the API, of nobody's things

SIGNED = "stations_api:gateway_"  # these know no token at all: tests/stations/gateways


def test_a_gateway_token_does_nothing_else(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    api = api_as(cast.shop_lead, Scope.GATEWAY)
    asked = 0
    for address in every_address():
        endpoint = endpoint_of(address)
        open_to_it = address.name in OPEN or address.name.startswith(SIGNED)
        if endpoint and not open_to_it and getattr(endpoint, "scope", "") != "gateway":
            for method in methods_of(address) - REPORTS.get(address.name, set()):
                answer = api.generic(method.upper(), address.url, "{}", "application/json")
                assert answer.status_code == 403, (method, address)
                asked += 1
    assert asked > 100
    assert api.get("/api/v1/sites/upland/settings/").status_code == 404
    assert api_as(cast.shop_lead).get("/api/v1/sites/harbour/settings/").status_code == 403
    assert (
        api_as(cast.barista, Scope.READ).get("/api/v1/sites/harbour/settings/").status_code == 403
    )
