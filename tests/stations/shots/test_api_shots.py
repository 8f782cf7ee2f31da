"""Check shots and calibration runs over HTTP."""

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from stations.calibrations.models import Calibration
from stations.shots.models import CheckShot
from tests.cast import ApiAs, Cast
from tests.recipes.calibrating import runs_at
from tests.stations.conftest import Bar, place
from tests.stations.shots.test_shots import CUP

SENT = {"dose_mass": "18.1", "beverage_mass": "38.5", "shot_time": 27}


def post(api: APIClient, path: str, body: dict[str, Any], key: str = "") -> Any:  # noqa: ANN401
    headers = {"Idempotency-Key": key or uuid.uuid4().hex}
    return api.post(f"/api/v1/{path}", body, headers=headers)


def test_a_shot_is_logged_once_however_often_it_is_sent(
    bar: Bar, cast: Cast, api_as: ApiAs
) -> None:
    held = place(bar.slot, cast.head_roaster, cup=CUP)
    api, key = api_as(cast.barista), uuid.uuid4().hex
    first = post(api, f"slots/{bar.slot.pk}/shots/", SENT, key)
    again = post(api, f"slots/{bar.slot.pk}/shots/", SENT, key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert CheckShot.objects.count() == 1
    assert first.json()["verdicts"] == {
        "dose_mass": "within", "beverage_mass": "high", "shot_time": "open",
    }  # fmt: skip
    assert (first.json()["dose_mass"], first.json()["placement"]) == ("18.1", held.pk)
    listed = api.get(f"/api/v1/slots/{bar.slot.pk}/shots/").json()["results"]
    assert [each["id"] for each in listed] == [first.json()["id"]]


def test_a_correction_names_what_it_saw(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    place(bar.slot, cast.head_roaster, cup=CUP)
    api = api_as(cast.barista)
    pk = post(api, f"slots/{bar.slot.pk}/shots/", SENT).json()["id"]
    body = {**SENT, "beverage_mass": "36", "reason": "Typo", "seen_corrections": 0}
    fixed = post(api, f"shots/{pk}/corrections/", body)
    assert (fixed.status_code, fixed.json()["verdict"]) == (200, "within")
    assert post(api, f"shots/{pk}/corrections/", body).status_code == 412
    assert api.get(f"/api/v1/shots/{pk}/").json()["corrections"] == 1


@pytest.mark.parametrize(
    ("field", "value"),
    [("dose_mass", "NaN"), ("dose_mass", True), ("dose_mass", None), ("shot_time", "1e9"),
     ("strength", "-1"), ("note", "x" * 501), ("note", "a\0b"), ("beverage_mass", ["36"])],
)  # fmt: skip
def test_odd_values_are_named(
    bar: Bar, cast: Cast, api_as: ApiAs, field: str, value: object
) -> None:
    place(bar.slot, cast.head_roaster)
    answer = post(api_as(cast.barista), f"slots/{bar.slot.pk}/shots/", {**SENT, field: value})
    assert answer.status_code == 400
    assert field in answer.content.decode()


def test_outsiders_and_others_get_no_shot_in(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    place(bar.slot, cast.head_roaster)
    path = f"slots/{bar.slot.pk}/shots/"
    assert post(api_as(cast.other_lead), path, SENT).status_code == 404
    assert post(api_as(cast.technician), path, SENT).status_code == 403
    assert post(api_as(cast.barista), "slots/999999/shots/", SENT).status_code == 404


def test_runs_are_recorded_over_http(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    due = (timezone.now().date() + timedelta(days=90)).isoformat()
    body = {"kind": "flow_meter", "runs": runs_at("4.0"), "due_on": due}
    path = f"stations/{bar.first.pk}/calibrations/"
    made = post(api_as(cast.technician), path, body)
    assert (made.status_code, made.json()["state"]) == (201, "proposed")
    assert made.json()["runs"] == runs_at("4.0")
    assert post(api_as(cast.shop_lead), path, body).status_code == 403
    bad = {**body, "runs": [{"pulses": "280"}]}
    refused = post(api_as(cast.technician), path, bad)
    assert refused.status_code == 400
    assert "run 1 grams" in refused.content.decode()
    assert Calibration.objects.count() == 1
