"""Signing in: by e-mail and password, limits counted, nobody signs up."""

import re

import pytest
from django.core import mail
from django.test import Client
from django.urls import NoReverseMatch, reverse

from audit.capture.models import Entry
from people.persons.models import User
from tests.cast import PASSWORD, Cast, SignedIn

LOGIN = "/account/login/"


@pytest.mark.parametrize("email", ["owner@example.com", "Owner@Example.COM"])
def test_by_address_in_any_case(cast: Cast, client: Client, email: str) -> None:
    answer = client.post(LOGIN, {"login": email, "password": PASSWORD})
    assert (answer.status_code, answer["Location"]) == (302, "/")
    assert not Entry.objects.filter(action="database.changed").exists()


def test_a_wrong_password_is_told_without_saying_which_part(cast: Cast, client: Client) -> None:
    known = client.post(LOGIN, {"login": "owner@example.com", "password": "wrong"})
    unknown = client.post(LOGIN, {"login": "nobody@example.com", "password": "wrong"})
    assert known.status_code == unknown.status_code == 200
    summary = re.compile(r'class="error-summary.*?</div>', re.DOTALL)
    told = [summary.findall(answer.content.decode()) for answer in (known, unknown)]
    assert len(told[0]) == 1
    assert told[0] == told[1]
    tries = Entry.objects.filter(action="sign_in.refused").order_by("id")
    assert [(e.actor, e.channel, e.subject_id) for e in tries] == [
        ("program", "page", cast.owner.pk),
        ("program", "page", None),
    ]
    assert "nobody@example.com" not in str(list(tries.values()))


def test_guesses_are_limited_also_for_the_right_one(cast: Cast, client: Client) -> None:
    for _ in range(5):
        client.post(LOGIN, {"login": "owner@example.com", "password": "wrong"})
    answer = client.post(LOGIN, {"login": "owner@example.com", "password": PASSWORD})
    assert answer.status_code in (200, 429)
    assert "_auth_user_id" not in client.session


def test_somebody_deactivated_stays_out(cast: Cast, client: Client) -> None:
    User.objects.filter(pk=cast.barista.pk).update(is_active=False)
    client.post(LOGIN, {"login": "barista@example.com", "password": PASSWORD})
    assert "_auth_user_id" not in client.session


def test_no_other_site_is_led_to(cast: Cast, client: Client) -> None:
    there = {"login": "owner@example.com", "password": PASSWORD, "next": "https://evil.example/"}
    assert client.post(LOGIN, there)["Location"] == "/"


def test_nobody_signs_up_or_changes_their_own_address(cast: Cast, client: Client) -> None:
    new = {"email": "new@example.com", "password1": PASSWORD, "password2": PASSWORD}
    assert "Nobody signs up here" in client.post("/account/signup/", new).content.decode()
    assert not User.objects.filter(email="new@example.com").exists()
    with pytest.raises(NoReverseMatch):
        reverse("account_email")


def test_a_forgotten_password_is_set_by_mail(cast: Cast, client: Client) -> None:
    for email in ("barista@example.com", "nobody@example.com"):
        answer = client.post("/account/password/reset/", {"email": email})
        assert answer["Location"] == "/account/password/reset/sent/"
    [letter] = mail.outbox
    assert letter.to == ["barista@example.com"]
    assert letter.subject == "[Portaledger] Set a new password"
    [link] = re.findall(r"https?://\S+", str(letter.body))
    form = client.get(link, follow=True)
    both = {"password1": "a fine long phrase", "password2": "a fine long phrase"}
    client.post(form.redirect_chain[-1][0], both)
    assert User.objects.get(pk=cast.barista.pk).check_password("a fine long phrase")


def test_changing_ones_password_is_in_the_history(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.barista)
    change = {"oldpassword": PASSWORD, "password1": "a fine long phrase"}
    change["password2"] = change["password1"]
    assert browser.post("/account/password/change/", change).status_code == 302
    entry = Entry.objects.get(action="person.password_set")
    assert (entry.actor, entry.channel, list(entry.changes)) == (
        "Barista",
        "page",
        ["password", "password_set_at"],
    )


@pytest.mark.parametrize("bad", ["short", "password1234", "barista@example.com"])
def test_weak_passwords_are_refused(cast: Cast, signed_in: SignedIn, bad: str) -> None:
    change = {"oldpassword": PASSWORD, "password1": bad, "password2": bad}
    signed_in(cast.barista).post("/account/password/change/", change)
    assert User.objects.get(pk=cast.barista.pk).check_password(PASSWORD)
