"""Importing in the browser: file, preview, confirmation."""

import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from stations.equipment.models import Site
from stations.importing.file import EXAMPLE, NAMES
from tests.cast import ApiAs, Cast, SignedIn
from tests.stations.conftest import Bar

HEAD = ",".join(NAMES).removesuffix(",reason")
GOOD = "quay,Quay,Asia/Kolkata,7.5,Main,Two boilers,1,3,4.02,-0.4"


def upload(browser: Client, text: str | bytes) -> Any:  # noqa: ANN401
    data = text.encode() if isinstance(text, str) else text
    file = SimpleUploadedFile("equipment.csv", data)
    return browser.post(reverse("stations:import"), {"file": file})


def payload_of(page: Any) -> str:  # noqa: ANN401
    found = re.search(r'name="confirmed" value="([^"]+)"', page.content.decode())
    assert found
    return found[1]


def test_nothing_is_written_before_it_is_confirmed(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    browser = signed_in(cast.head_roaster)
    page = upload(browser, f"{HEAD}\n{GOOD}\n")
    assert page.status_code == 200
    assert not Site.objects.filter(code="quay").exists()
    done = browser.post(reverse("stations:import"), {"confirmed": payload_of(page)})
    assert done.status_code == 302
    assert Site.objects.filter(code="quay").exists()
    again = browser.post(reverse("stations:import"), {"confirmed": payload_of(page)}, follow=True)
    assert "1 station unchanged" in again.content.decode()


def test_the_preview_lists_every_bad_line(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    text = f"{HEAD}\n{GOOD.replace('7.5', '<b>high</b>')}\n{GOOD.replace('1,3', '0,3')}\n"
    page = upload(signed_in(cast.head_roaster), text)
    shown = page.content.decode()
    assert page.status_code == 400
    assert "2 values in 2 lines" in shown
    assert "&lt;b&gt;high&lt;/b&gt;" in shown
    assert 'name="confirmed"' not in shown


def test_what_changed_since_the_preview_is_shown(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.head_roaster)
    payload = payload_of(upload(browser, f"{HEAD}\n{GOOD}\n"))
    upload_other = upload(browser, f"{HEAD}\n{GOOD.replace('7.5', '8.5')}\n")
    browser.post(reverse("stations:import"), {"confirmed": payload_of(upload_other)})
    page = browser.post(reverse("stations:import"), {"confirmed": payload})
    assert page.status_code == 400
    assert "altitude_m" in page.content.decode()
    assert Site.objects.get(code="quay").altitude == 8.5


def test_a_preview_is_its_persons_own_and_cannot_be_forged(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    payload = payload_of(upload(signed_in(cast.head_roaster), f"{HEAD}\n{GOOD}\n"))
    other = signed_in(cast.owner)
    for forged in (payload, payload[:-3], "x", ""):
        page = other.post(reverse("stations:import"), {"confirmed": forged})
        assert page.status_code == 400
    assert not Site.objects.filter(code="quay").exists()


@pytest.mark.parametrize("data", [b"", b"\x00\x01\x02", b"\xff", b"a;b\n1;2", b"x" * 5_000_000])
def test_a_nasty_file_gets_a_sentence(
    bar: Bar, cast: Cast, signed_in: SignedIn, data: bytes
) -> None:
    page = upload(signed_in(cast.head_roaster), data)
    assert page.status_code == 400
    assert "error-summary" in page.content.decode()


def test_the_example_can_be_imported(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.head_roaster)
    sent = browser.get(reverse("stations:import_example"))
    assert sent["Content-Type"].startswith("text/csv")
    page = upload(browser, sent.content.replace(b"harbour,Harbour", b"dock,Dock").replace(
        b"\r\nharbour", b"\r\ndock"
    ))  # fmt: skip
    assert page.status_code == 200


def test_the_api_imports_and_previews(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    api, address = api_as(cast.head_roaster), "/api/v1/equipment/import/"
    body = {"csv": f"{HEAD}\n{GOOD}\n"}
    told = api.post(address, {**body, "preview": True}, headers={"Idempotency-Key": "preview-1"})
    assert (told.status_code, told.json()["stations"]) == (200, 1)
    assert not Site.objects.filter(code="quay").exists()
    assert api.post(address, body, headers={"Idempotency-Key": "import-1"}).status_code == 200
    bad = {"csv": EXAMPLE.replace("Two boilers", "None such")}
    told = api.post(address, bad, headers={"Idempotency-Key": "import-2"})
    assert told.status_code == 400
    assert told.json()["problems"][0]["field"] == "line 2, machine_type"
