"""What proves who somebody is stands in no answer: not in one to an outage, and not in the log."""

from collections.abc import Iterator

import pytest
from django import forms
from django.urls import get_resolver

from tests.cast import Cast, SignedIn
from web import outages
from web.answering import watch
from web.text import NEVER_REPEATED


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
