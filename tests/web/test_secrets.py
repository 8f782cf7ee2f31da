"""What proves who somebody is stands in no answer: not in one to an outage, and not in the log."""

import logging
from collections.abc import Iterator
from io import StringIO

import pytest
from django import forms
from django.test import Client
from django.urls import get_resolver

from tests.cast import Cast, SignedIn
from web import outages
from web.answering import watch
from web.text import NEVER_REPEATED


@pytest.fixture
def log() -> Iterator[StringIO]:
    """What a deployment's log has, as the settings say."""
    handler = next(each for each in logging.getLogger().handlers if each.name == "stderr")
    assert isinstance(handler, logging.StreamHandler)
    written = StringIO()
    before = handler.setStream(written)
    yield written
    handler.setStream(before)


def forms_there_are(below: type[forms.BaseForm] = forms.BaseForm) -> Iterator[type]:
    for each in below.__subclasses__():
        yield each
        yield from forms_there_are(each)


def test_no_secret_of_any_form_is_repeated() -> None:
    assert get_resolver().url_patterns  # loads every page, and with it its forms
    asked = {
        name
        for form in forms_there_are()
        if not form.__module__.startswith("django.contrib.auth")  # no page of ours shows those
        for name, field in getattr(form, "base_fields", {}).items()
        if getattr(field.widget, "input_type", "") == "password"
    }
    assert {"oldpassword", "password1", "password2", "pin"} <= asked
    assert asked <= NEVER_REPEATED


def test_a_password_that_could_not_be_changed_is_typed_anew(
    cast: Cast, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser = signed_in(cast.owner)
    monkeypatch.setattr(watch, "away", lambda: True)
    typed = {"oldpassword": "former", "password1": "latest one", "password2": "latest two"}
    answer = browser.post("/account/password/change/", typed)
    page = answer.content.decode()
    assert answer.status_code == 503
    assert outages.DATABASE in page
    for name, value in typed.items():
        assert value not in page
        assert f'type="password" id="again-{name}" name="{name}"' in page
    assert "New password again" in page


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/account/password/reset/key/2x-secret/", "/secret-nowhére/"])
def test_the_log_has_the_requests_id_and_not_its_address(
    path: str, monkeypatch: pytest.MonkeyPatch, log: StringIO
) -> None:
    monkeypatch.setattr(watch, "away", lambda: True)
    answer = Client().get(path)
    assert answer.status_code == 503
    assert "secret" not in log.getvalue()
    assert answer["X-Request-ID"] in log.getvalue()


def test_what_failed_is_found_by_what_the_page_says(
    cast: Cast, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch, log: StringIO
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ArithmeticError("a fault of ours")

    browser = signed_in(cast.owner)
    browser.raise_request_exception = False
    monkeypatch.setattr("web.offline.render", broken)
    answer = browser.get("/waiting/")
    assert answer.status_code == 500
    (line,) = (each for each in log.getvalue().splitlines() if " ERROR " in each)
    assert line.endswith(f"Internal Server Error: waiting, request {answer['X-Request-ID']}")
