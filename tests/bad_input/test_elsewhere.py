"""Bad input where there is no table for: files, gateways, one's own account, what is typed live."""

from typing import Any
from urllib.parse import urlencode

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import reverse

from tests.bad_input.asking import encoded, send
from tests.bad_input.form import FORMULA
from tests.bad_input.things import Things
from tests.bad_input.values import BELL, LONG, NUL, PAST_ALL_LIMITS, TEXTS

pytestmark = pytest.mark.django_db
HEADER = (
    "site_code,site_name,time_zone,altitude_m,machine,machine_type,station,slots,"
    "pulses_per_ml,temperature_offset_c\n"
)
LINE = "yard,Yard,Europe/Lisbon,12,Left,Full,1,4,4.2,-0.5\n"
FILES = {
    "empty": b"",
    "no text": b"\x89PNG\r\n\x1a\n\x00\x00",
    "not UTF-8": (HEADER + LINE).encode("utf-16"),
    "NUL": (HEADER + LINE.replace("Yard", "Y\x00d")).encode(),
    "a bell": (HEADER + LINE.replace("Yard", "Y\x07d")).encode(),
    "other columns": b"a,b\n1,2\n",
    "header only": HEADER.encode(),
    "too few cells": (HEADER + "yard,Yard\n").encode(),
    "a unit": (HEADER + LINE.replace(",12,", ",12 m,")).encode(),
    "a comma": (HEADER + LINE.replace(",12,", ',"12,5,0",')).encode(),
    "not finite": (HEADER + LINE.replace(",12,", ",NaN,")).encode(),
    "huge": (HEADER + LINE.replace(",4,", f",{PAST_ALL_LIMITS},")).encode(),
    "twice": (HEADER + LINE + LINE).encode(),
    "unknown type": (HEADER + LINE.replace("Full", "None such")).encode(),
    "a quote left open": (HEADER + '"yard,Yard\n').encode(),
}


@pytest.mark.parametrize("name", FILES)
def test_files(things: Things, name: str) -> None:
    browser = things.world.browser_of(things.cast.owner)
    file = SimpleUploadedFile("equipment.csv", FILES[name], "text/csv")
    answer = browser.post(reverse("stations:import"), {"file": file})
    assert answer.status_code == 400
    plan = answer.context.get("plan")
    assert plan.faults if plan else answer.context["form"].errors


@pytest.mark.parametrize("sent", [{}, {"confirmed": ""}, {"confirmed": NUL}, {"confirmed": "a:b"}])
def test_no_file_or_a_preview_of_somebody_else(things: Things, sent: dict[str, str]) -> None:
    browser = things.world.browser_of(things.cast.owner)
    assert browser.post(reverse("stations:import"), sent).status_code == 400


def gateway(things: Things, body: object) -> Any:  # noqa: ANN401
    """What a gateway is answered that reports this."""
    url = reverse("stations_api:report", args=[things.cast.site.code])
    headers = {"Authorization": f"Bearer {things.gateway}", "Idempotency-Key": "key-of-a-gateway"}
    with transaction.atomic():
        answer = Client(raise_request_exception=False).post(
            url, encoded(body), content_type="application/json", headers=headers
        )
        transaction.set_rollback(True)
    return answer


NO_SETTINGS: list[object] = ["x", 7, [], None, {"a\x00": "1"}, {"x": []}]
WHOLES: list[object] = ["x", -1, 0, 2**63, 10**30, None, [], {}, True, 1.5, NUL]


def test_what_no_gateway_reports(things: Things) -> None:
    good = {"slot": things.held.pk, "placement": things.placement().pk, "found": {}}
    spoilt: list[object] = [{**good, "colour": "brown"}, {}, "x", None]
    spoilt += [{**good, name: bad} for name in ("slot", "placement") for bad in WHOLES]
    spoilt += [{**good, "found": bad} for bad in NO_SETTINGS]
    for one in spoilt:
        assert gateway(things, {"read_backs": [one]}).status_code == 400, one
    wholes: list[object] = [[], "x", None, {}, {"read_backs": []}, {"read_backs": [good] * 1001}]
    for whole in wholes:
        assert gateway(things, whole).status_code == 400, whole


def test_each_reading_is_answered_by_its_own(things: Things) -> None:
    good = {"slot": things.held.pk, "placement": things.placement().pk}
    elsewhere = next(slot for slot in things.world.bar.slots if slot.pk != things.held.pk)
    found = [{"water_volume": bad} for bad in TEXTS["number"] if bad.isprintable()]
    sent = [{**good, "found": each} for each in [*found, {"ends_by": "gravity"}, {"x": "1"}]]
    sent += [{**good, "slot": elsewhere.pk, "found": {}}, {**good, "slot": 10**9, "found": {}}]
    answer = gateway(things, {"read_backs": sent})
    assert answer.status_code == 200
    assert not [one for one in answer.json()["read_backs"] if one["taken"]]


ACCOUNT: dict[str, dict[str, str]] = {
    "account_login": {"login": "owner@example.com", "password": "x"},
    "account_reset_password": {"email": "owner@example.com"},
    "account_change_password": {"oldpassword": "x", "password1": "y", "password2": "y"},
    "account_reauthenticate": {"password": "x"},
    "mfa_activate_totp": {"code": "123456"},
    "mfa_authenticate": {"code": "123456"},
    "mfa_add_webauthn": {"name": "Key", "credential": "{}", "passwordless": "on"},
    "mfa_login_webauthn": {"credential": "{}"},
    "mfa_generate_recovery_codes": {},
}


@pytest.mark.parametrize("name", ACCOUNT)
@pytest.mark.parametrize("person", ["owner", ""])
def test_ones_own_account(things: Things, name: str, person: str) -> None:
    who = things.who(person) if person else None
    for field in ACCOUNT[name]:
        for bad in ("", NUL, BELL, LONG, "[]", '{"a": ' * 200, "²", "\u2028"):
            browser = things.world.browser_of(who)
            with transaction.atomic():
                answer = browser.post(reverse(name), {**ACCOUNT[name], field: bad})
                transaction.set_rollback(True)
            assert answer.status_code < 500, (field, bad[:20])


TYPED = [{}, {"dose_mass": "18 g"}, {"revision": NUL}, {"lot": PAST_ALL_LIMITS},
         {"brew_pressure": "NaN"}, {"ends_by": LONG}]  # fmt: skip


@pytest.mark.parametrize("change", TYPED)
def test_what_follows_from_what_is_typed(things: Things, change: dict[str, str]) -> None:
    url = reverse("recipes:version_appraisal", args=[things.pk("draft")])
    sent = urlencode({**FORMULA, "revision": "1", **change})
    answer = send(things.world, things.cast.head_roaster, "POST", url, sent=sent,
                  kind="application/x-www-form-urlencoded")  # fmt: skip
    assert answer.status in {200, 400}
    assert not answer.wrote
