"""Signing on a page: the first signature of a session asks for both, later ones for one."""

import pytest
from django.test import Client

from people.policy.models import Policy
from people.signatures.models import Signature
from people.signatures.signing import LIMIT
from tests.cast import PASSWORD, Cast, SignedIn

CHOICE = {"sole_roaster": "on", "boiling": "refuse"}


@pytest.fixture
def browser(cast: Cast, signed_in: SignedIn) -> Client:
    """The owner's."""
    return signed_in(cast.owner)


def test_first_both_then_the_password_alone_and_both_in_a_new_session(
    cast: Cast, browser: Client, signed_in: SignedIn
) -> None:
    first = {**CHOICE, "revision": "1", "password": PASSWORD}
    assert browser.post("/policy/", first).status_code == 400
    assert browser.post("/policy/", {**first, "email": cast.owner.email}).status_code == 302
    assert 'name="email"' not in browser.get("/policy/").content.decode()
    assert browser.post("/policy/", {**first, "revision": "2"}).status_code == 302
    assert Signature.objects.count() == 2
    anew = signed_in(cast.owner)
    assert 'name="email"' in anew.get("/policy/").content.decode()
    assert anew.post("/policy/", {**first, "revision": "3"}).status_code == 400


def test_a_failed_first_signature_does_not_count_as_one(cast: Cast, browser: Client) -> None:
    wrong = {**CHOICE, "revision": "1", "email": cast.owner.email, "password": "wrong"}
    answer = browser.post("/policy/", wrong)
    assert answer.status_code == 400
    assert "wrong" not in answer.content.decode()
    assert 'name="email"' in browser.get("/policy/").content.decode()


def test_too_many_wrong_passwords_close_signing(cast: Cast, browser: Client) -> None:
    wrong = {**CHOICE, "revision": "1", "email": cast.owner.email, "password": "wrong"}
    for _ in range(LIMIT):
        browser.post("/policy/", wrong)
    answer = browser.post("/policy/", {**wrong, "password": PASSWORD})
    assert answer.status_code == 409
    assert "closed for 15 minutes" in answer.content.decode()
    assert not Policy.objects.exists()


def test_the_page_shows_name_time_meaning_and_digest(cast: Cast, browser: Client) -> None:
    signed = {**CHOICE, "revision": "1", "email": cast.owner.email, "password": PASSWORD}
    page = browser.post("/policy/", signed, follow=True).content.decode()
    signature = Signature.objects.get()
    assert "Owner, Owner" in page
    assert signature.digest in page
    assert "UTC" in page
    assert PASSWORD not in page


def test_signed_from_an_old_page_is_refused(cast: Cast, browser: Client) -> None:
    signed = {**CHOICE, "revision": "9", "email": cast.owner.email, "password": PASSWORD}
    assert browser.post("/policy/", signed).status_code == 412
    assert not Signature.objects.exists()
