"""Deciding a calibration over HTTP."""

import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from recipes.publishing import run
from stations.calibrations.models import Calibration
from tests.bar import Bar
from tests.cast import PASSWORD, ApiAs
from tests.publishing import Publish, send
from tests.recipes.calibrating import holds, measure

__all__ = ["send"]


@pytest.fixture
def measured(bar: Bar, send: Publish) -> Calibration:
    """The recipe in force, and runs that say 4.2 pulses per mL."""
    run.run(send().pk)
    return measure(bar.stations[0], "4.2", bar.cast.technician)


def post(api: APIClient, path: str, body: dict[str, Any], tag: str) -> Any:  # noqa: ANN401
    headers = {"Idempotency-Key": uuid.uuid4().hex, "If-Match": tag}
    return api.post(f"/api/v1/calibrations/{path}", body, headers=headers)


def test_plan_sign_and_read(measured: Calibration, bar: Bar, api_as: ApiAs) -> None:
    who, pk = bar.cast.technician, measured.pk
    api = api_as(who)
    plan = api.get(f"/api/v1/calibrations/{pk}/plan/").json()
    assert {slot["outcome"] for slot in plan["slots"]} == {"place"}
    assert plan["slots"][0]["new"]["water_volume"] == {"value": "294", "unit": "{pulse}"}
    tag = api.get(f"/api/v1/calibrations/{pk}/")["ETag"]
    body = {
        "seen_digest": plan["digest"],
        "reason": "Only doubles are poured here",
        "email": who.email,
        "password": PASSWORD,
    }
    assert post(api, f"{pk}/accept/", {**body, "seen_digest": "0" * 64}, tag).status_code == 409
    done = post(api, f"{pk}/accept/", body, tag)
    assert (done.status_code, done.json()["state"]) == (200, "accepted")
    assert done.json()["plan_digest"] == plan["digest"]
    assert holds(bar.stations[0].slots.first()).basis == "re_translation"
    assert post(api, f"{pk}/accept/", body, tag).status_code == 412


def test_rejecting(measured: Calibration, bar: Bar, api_as: ApiAs) -> None:
    api, pk = api_as(bar.cast.head_roaster), measured.pk
    tag = api.get(f"/api/v1/calibrations/{pk}/")["ETag"]
    assert post(api, f"{pk}/reject/", {}, tag).status_code == 400
    done = post(api, f"{pk}/reject/", {"reason": "Leak"}, tag)
    assert (done.status_code, done.json()["reason"]) == (200, "Leak")


def test_others_decide_nothing(measured: Calibration, bar: Bar, api_as: ApiAs) -> None:
    for person, status in ((bar.cast.shop_lead, 403), (bar.cast.other_lead, 403)):
        answer = post(api_as(person), f"{measured.pk}/reject/", {"reason": "x"}, '"1"')
        assert answer.status_code == status
    assert (
        api_as(bar.cast.other_lead).get(f"/api/v1/calibrations/{measured.pk}/").status_code == 404
    )
