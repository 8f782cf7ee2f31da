"""Second factor: code app, spare codes and passkeys; each page in the product's own words."""

import re

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import (
    format_hotp_value,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.test import Client

from audit.capture.models import Entry
from tests.cast import PASSWORD, Cast

FACTOR = "/account/second-factor/"


@pytest.fixture
def browser(cast: Cast, client: Client) -> Client:
    """The owner's, signed in, and confirmed again just now."""
    client.post("/account/login/", {"login": cast.owner.email, "password": PASSWORD})
    client.post("/account/reauthenticate/", {"password": PASSWORD})
    return client


def _digits(secret: str) -> str:
    """What a code app would show (RFC 6238)."""
    counter = next(iter(yield_hotp_counters_from_time()))
    return str(format_hotp_value(hotp_value(secret, counter)))


def _set_up(browser: Client) -> str:
    page = browser.get(f"{FACTOR}app/activate/").content.decode()
    found = re.search(r'<code class="mono">([A-Z2-7]+)</code>', page)
    assert found
    answer = browser.post(f"{FACTOR}app/activate/", {"code": _digits(found[1])})
    assert answer.status_code == 302, answer.content.decode()
    return found[1]


def test_a_code_app_is_asked_for_at_the_next_sign_in(cast: Cast, browser: Client) -> None:
    secret = _set_up(browser)
    anew = Client()
    login = {"login": cast.owner.email, "password": PASSWORD}
    assert anew.post("/account/login/", login)["Location"].startswith(f"{FACTOR}authenticate/")
    assert "_auth_user_id" not in anew.session
    wrong = anew.post(f"{FACTOR}authenticate/", {"code": "000000"})
    assert wrong.status_code == 200
    spare = Authenticator.objects.get(type="recovery_codes").wrap().get_unused_codes()[0]
    assert anew.post(f"{FACTOR}authenticate/", {"code": spare}).status_code == 302
    assert anew.session["_auth_user_id"] == str(cast.owner.pk)
    assert secret not in str(Entry.objects.values_list("changes", flat=True))


def test_setting_it_up_is_in_the_history_under_ones_own_name(browser: Client) -> None:
    _set_up(browser)
    entries = Entry.objects.filter(table_name="mfa_authenticator")
    assert {entry.changes["type"][1] for entry in entries} == {"totp", "recovery_codes"}
    assert {(e.actor, e.action, e.subject) for e in entries} == {
        ("Owner", "person.own_account", "Owner")
    }
    assert all("data" not in entry.changes for entry in entries)


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("", "a password that leaked opens nothing"),
        ("app/activate/", "Set up a code app"),
        ("passkeys/", "You have no passkeys"),
        ("passkeys/add/", "Add a passkey"),
        ("codes/generate/", "Make new spare codes"),
        ("codes/", "Each works once"),
        ("app/deactivate/", "will no longer ask"),
        ("reauthenticate/", "Confirm it is you"),
    ],
)
def test_the_pages_are_our_own(browser: Client, path: str, words: str) -> None:
    if path.startswith(("app/deactivate", "codes", "reauthenticate")):
        _set_up(browser)
    page = browser.get(FACTOR + path)
    assert page.status_code == 200
    assert words in page.content.decode()
    assert "· Portaledger</title>" in page.content.decode()


def test_a_change_asks_for_the_password_again(cast: Cast) -> None:
    old = Client()
    old.force_login(cast.owner)
    answer = old.get(f"{FACTOR}app/activate/")
    assert answer["Location"].startswith("/account/reauthenticate/")
    page = old.get(answer["Location"]).content.decode()
    assert "Confirm it is you" in page
    again = old.post(answer["Location"], {"password": PASSWORD})
    assert again["Location"] == f"{FACTOR}app/activate/"


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("login/", "An owner adds people here"),
        ("logout/", ""),
        ("inactive/", "ended by an owner"),
        ("password/reset/", "Mail me a link"),
        ("password/reset/sent/", "Look at your mail"),
        ("password/reset/key/1-set-password/", "This link no longer works"),
        ("password/reset/key/done/", "Password set"),
    ],
)
def test_pages_for_strangers_are_our_own(db: None, client: Client, path: str, words: str) -> None:
    page = client.get(f"/account/{path}", follow=True)
    assert page.status_code == 200
    assert words in page.content.decode()
    assert "<style" not in page.content.decode()


def test_nothing_on_them_is_inline_script(browser: Client) -> None:
    for path in ("/account/login/", f"{FACTOR}passkeys/add/"):
        page = Client().get(path) if "login" in path else browser.get(path)
        inline = re.findall(r"<script(?![^>]*(?:src=|application/json))", page.content.decode())
        assert not inline
        assert "unsafe" not in page["Content-Security-Policy"]
