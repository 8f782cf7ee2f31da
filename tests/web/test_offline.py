"""What is installed: the manifest, the worker's scripts, and the forms it may queue."""

import json
import re

import pytest
from django.test import Client
from django.urls import reverse

from tests.cast import Cast, SignedIn
from tests.tooling.listing import ROOT

WORKER = ROOT / "static/js/offline/worker.js"
ADDRESSES = [
    reverse("stations:shot_log", args=[1]),
    reverse("stations:read_back", args=[12]),
    reverse("stations:to_key", args=[3]),
    reverse("recipes:request_new"),
]


def _queued() -> re.Pattern[str]:
    found = re.search(r"const QUEUED = /(.*)/;", WORKER.read_text())
    assert found
    return re.compile(found[1].replace(r"\/", "/"))


@pytest.mark.parametrize("address", ADDRESSES)
def test_the_worker_queues_the_forms_that_say_so(address: str) -> None:
    assert _queued().search(address)


def test_it_queues_no_other(cast: Cast) -> None:
    with_label = [
        path.relative_to(ROOT / "templates").as_posix()
        for path in (ROOT / "templates").rglob("*.html")
        if "{% queued_as" in path.read_text()
    ]
    assert sorted(with_label) == [
        "recipes/requests/request_form.html",
        "stations/shots/partials/card.html",
        "stations/slots/read_back.html",
        "stations/slots/to_key.html",
    ]
    for address in ("/account/login/", "/account/logout/", "/slots/1/by-hand/", "/"):
        assert not _queued().search(address)


def test_the_worker_imports_them_in_order() -> None:
    text = Client().get("/service-worker.js").content.decode()
    places = [text.index(f"/static/js/offline/{name}.js") for name in
              ("queue", "kept", "sending", "worker")]  # fmt: skip
    assert places == sorted(places)


def test_the_manifest_names_pictures_that_are_there() -> None:
    manifest = json.loads((ROOT / "static/manifest.webmanifest").read_text())
    assert (manifest["start_url"], manifest["scope"], manifest["display"]) == (
        "/", "/", "standalone",
    )  # fmt: skip
    for icon in manifest["icons"]:
        assert (ROOT / "static" / icon["src"]).is_file()


def test_a_page_may_be_kept_by_who_sees_it_and_not_with_a_message(
    cast: Cast, signed_in: SignedIn
) -> None:
    browser = signed_in(cast.barista)
    assert browser.get("/waiting/")["X-Kept-For"] == str(cast.barista.pk)
    assert browser.get("/waiting/")["Cache-Control"] == "no-store"
    for address in ("/", "/recipes/", "/account/sessions/"):
        assert "X-Kept-For" not in browser.get(address)
