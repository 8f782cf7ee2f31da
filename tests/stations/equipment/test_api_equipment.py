"""The equipment over HTTP: reading, adding, editing from the revision seen."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from stations.equipment.models import Site, Station
from tests.cast import ApiAs, Cast
from tests.stations.conftest import Bar

SITE = {"code": "quay", "name": "Quay", "time_zone": "Asia/Kolkata", "altitude": "7.50"}


def send(api: APIClient, address: str, body: object, key: str = "new-key-1") -> Any:  # noqa: ANN401
    return api.post(f"/api/v1/{address}", body, headers={"Idempotency-Key": key})


def test_a_site_is_added_once_however_often_it_is_sent(cast: Cast, api_as: ApiAs) -> None:
    api = api_as(cast.head_roaster)
    first, again = send(api, "sites/", SITE), send(api, "sites/", SITE)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert first.json()["altitude"] == "7.50"
    assert Site.objects.filter(code="quay").count() == 1


def test_an_edit_needs_the_tag_that_was_read(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    api = api_as(cast.owner)
    tag = api.get("/api/v1/sites/harbour/")["ETag"]
    body = {"name": "Harbour", "time_zone": "Europe/Lisbon", "altitude": "13"}
    put: Callable[..., Any] = api.put
    assert put("/api/v1/sites/harbour/", body).status_code == 428
    done = put("/api/v1/sites/harbour/", body, headers={"If-Match": tag})
    assert (done.status_code, done.json()["altitude"]) == (200, "13")
    stale = put("/api/v1/sites/harbour/", body, headers={"If-Match": tag})
    assert stale.status_code == 412
    assert (
        put("/api/v1/sites/harbour/", body, headers={"If-Match": done["ETag"]}).status_code == 200
    )


def test_stations_machines_and_abilities_are_added(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    api = api_as(cast.head_roaster)
    reach = {"parameter": "brew_pressure", "minimum": "1", "maximum": 9, "resolution": "0.1"}
    abilities = {"name": "One boiler", "ends_by": ["mass"], "abilities": [reach]}
    made = send(api, "machine-types/", abilities, "abilities-1").json()
    assert made["abilities"] == [{**reach, "unit": "bar", "maximum": "9"}]
    machine = {"site": "harbour", "name": "Right", "machine_type": made["id"]}
    machine = send(api, "machines/", machine, "machine-1").json()
    station = {"machine": machine["id"], "number": 1, "slots": 3, "pulses_per_millilitre": "4.020"}
    answer = send(api, "stations/", station, "station-1").json()
    assert (answer["pulses_per_millilitre"], answer["slots"]) == ("4.020", 3)
    one = f"/api/v1/stations/{answer['id']}/"
    held = {"If-None-Match": api.get(one)["ETag"]}
    assert api.get(one, headers=held).status_code == 304
    more = send(api, f"stations/{answer['id']}/slots/", {"total": 5}, "slots-12")
    assert more.json()["slots"] == 5
    assert api.get(one, headers=held).status_code == 200
    listed = api.get(f"/api/v1/stations/?machine={machine['id']}").json()["results"]
    assert [row["id"] for row in listed] == [answer["id"]]


@pytest.mark.parametrize(
    ("address", "body", "field"),
    [
        ("sites/", {**SITE, "altitude": "high"}, "altitude"),
        ("sites/", {**SITE, "altitude": "1,5"}, "altitude"),
        ("sites/", {**SITE, "altitude": "-1e99"}, "altitude"),
        ("sites/", {**SITE, "altitude": {"m": 1}}, "altitude"),
        ("sites/", {**SITE, "time_zone": "Nowhere"}, "time_zone"),
        ("sites/", {**SITE, "code": "harbour"}, "code"),
        ("sites/", {**SITE, "name": "\u0000"}, "name"),
        ("sites/", {"code": "quay"}, "name"),
        ("machines/", {"site": "nowhere", "name": "M", "machine_type": 1}, "site"),
        ("machines/", {"site": "harbour", "name": "M", "machine_type": 10**15}, "machine_type"),
        ("machines/", {"site": "harbour", "name": "M", "machine_type": 10**30}, "machine_type"),
        ("stations/", {"machine": "x", "number": 1, "slots": 1}, "machine"),
        ("stations/", {"machine": 1, "number": 0, "slots": 1}, "number"),
        ("machine-types/", {"name": "A", "ends_by": "mass", "abilities": []}, "ends_by"),
        ("machine-types/", {"name": "A", "ends_by": [], "abilities": []}, "ends_by"),
    ],
)
def test_a_value_that_cannot_be_used_is_named(
    bar: Bar, cast: Cast, api_as: ApiAs, address: str, body: object, field: str
) -> None:
    answer = send(api_as(cast.head_roaster), address, body)
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["problems"][0]["field"] == field


def test_one_sees_and_edits_only_what_a_role_covers(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    lead = api_as(cast.other_lead)
    assert lead.get("/api/v1/sites/harbour/").status_code == 404
    assert lead.get(f"/api/v1/stations/{bar.first.pk}/").status_code == 404
    assert lead.get(f"/api/v1/slots/{bar.slot.pk}/").status_code == 404
    own = {row["id"] for row in lead.get("/api/v1/stations/").json()["results"]}
    assert own == {bar.away.pk}
    body = {"machine": bar.away.machine_id, "number": 2, "slots": 1}
    assert send(lead, "stations/", body).status_code == 403
    assert Station.objects.count() == 3
    assert APIClient().get("/api/v1/sites/").status_code == 401


@pytest.mark.parametrize("query", ["machine=x", "machine=-1", "site=%00", "limit=0", "cursor=xx"])
def test_a_strange_filter_is_no_crash(bar: Bar, cast: Cast, api_as: ApiAs, query: str) -> None:
    assert api_as(cast.owner).get(f"/api/v1/stations/?{query}").status_code in {200, 400}


def test_lists_are_paged_by_key(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    api, seen = api_as(cast.owner), []
    address = "/api/v1/slots/?limit=2"
    while address:
        answer = api.get(address).json()
        seen += [row["id"] for row in answer["results"]]
        address = answer["next"]
    assert seen == sorted(seen, reverse=True)
    assert len(seen) == 5


def test_the_board_counts(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    rows = api_as(cast.shop_lead).get("/api/v1/board/").json()["results"]
    assert [(row["site"], row["slots"], row["matches"]) for row in rows] == [("harbour", 4, 0)]
