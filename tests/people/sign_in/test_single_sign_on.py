"""Single sign-on against a real provider on loopback: who gets in, and who never does."""

import time
from urllib.parse import parse_qs, urlsplit

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, generate_totp_secret, hotp_value
from allauth.socialaccount.models import SocialAccount, SocialApp
from django.test import Client

from audit.capture.context import recorded
from audit.capture.models import Entry
from people.persons.models import User
from people.sign_in.models import SignIn, Way
from people.sign_in.urls import OWN_ACCOUNT
from tests.cast import PASSWORD, Cast
from tests.people.sign_in.provider import Claims, Provider


def who(browser: Client) -> int | None:
    """Who is signed in there."""
    found = browser.session.get("_auth_user_id")
    return int(found) if found else None


def test_a_verified_address_gets_in_and_is_connected(cast: Cast, provider: Provider) -> None:
    browser = Client()
    page = browser.get("/account/login/").content.decode()
    assert "Group sign-on" in page
    assert provider.sign_in(browser, "s-lead") == "/"
    assert who(browser) == cast.shop_lead.pk
    assert SignIn.objects.get().way == Way.SINGLE
    entry = Entry.objects.get(action="single.connected")
    assert (entry.actor, entry.changes["uid"]) == ("Shop lead", [None, "s-lead"])
    kept = SocialAccount.objects.get()
    assert kept.extra_data == {"issuer": provider.issuer}
    assert not EmailAddress.objects.exists()
    assert User.objects.get(pk=cast.shop_lead.pk).check_password(PASSWORD)


def test_once_connected_the_subject_counts_and_no_address(cast: Cast, provider: Provider) -> None:
    """The provider gives the address to somebody new: they are not the person here."""
    provider.sign_in(Client(), "s-lead")
    provider.says("s-new", email="shop_lead@example.com", email_verified=True)
    stranger, same = Client(), Client()
    provider.sign_in(stranger, "s-new")
    assert who(stranger) is None
    provider.says("s-lead", email="moved@example.com", email_verified=False)
    provider.sign_in(same, "s-lead")
    assert who(same) == cast.shop_lead.pk


@pytest.mark.parametrize(
    "claims",
    [
        {"email": "barista@example.com"},
        {"email": "barista@example.com", "email_verified": False},
        {"email": "barista@example.com", "email_verified": "true"},
        {"email": "nobody@example.com", "email_verified": True},
        {"email_verified": True},
    ],
)
def test_nobody_else_gets_in_or_is_added(cast: Cast, provider: Provider, claims: Claims) -> None:
    provider.says("s-odd", **claims)
    browser, before = Client(), User.objects.count()
    assert provider.sign_in(browser, "s-odd").startswith("/account/login/")
    assert who(browser) is None
    assert "An owner adds people" in browser.get("/account/login/").content.decode()
    assert (User.objects.count(), SocialAccount.objects.count()) == (before, 0)
    assert Entry.objects.get(action="sign_in.refused").reason.startswith("A single sign-on was")


def test_whose_sign_in_was_ended_stays_out(cast: Cast, provider: Provider) -> None:
    provider.sign_in(Client(), "s-lead")
    User.objects.filter(pk=cast.shop_lead.pk).update(is_active=False)
    browser = Client()
    provider.sign_in(browser, "s-lead")
    assert who(browser) is None


def test_the_second_factor_is_asked_for_all_the_same(cast: Cast, provider: Provider) -> None:
    secret = generate_totp_secret()
    with recorded(by=cast.shop_lead, action=OWN_ACCOUNT):
        TOTP.activate(cast.shop_lead, secret)
    browser = Client()
    assert provider.sign_in(browser, "s-lead") == "/account/second-factor/authenticate/"
    assert who(browser) is None
    code = format_hotp_value(hotp_value(secret, int(time.time()) // 30))
    browser.post("/account/second-factor/authenticate/", {"code": code})
    assert who(browser) == cast.shop_lead.pk
    begun = SignIn.objects.get()
    assert (begun.way, begun.factor) == (Way.SINGLE, "totp")


def test_a_browser_that_is_only_signed_in_there_confirms_nothing(
    cast: Cast, provider: Provider
) -> None:
    """Coming back from the provider confirms only if it says that they proved it now."""
    provider.says("s-owner", email="owner@example.com", email_verified=True, auth_time=1)
    User.objects.filter(pk=cast.owner.pk).update(password="!none")
    browser, add = Client(), {"name": "New", "email": "new@example.com"}
    provider.sign_in(browser, "s-owner")
    asked = browser.post("/people/add/", add)["Location"]
    assert asked.startswith(f"/account/single/{provider.id}/login/")
    for page in ("/account/password/set/", "/account/second-factor/passkeys/add/"):
        assert browser.get(page)["Location"].startswith(f"/account/single/{provider.id}/login/")
    again = parse_qs(urlsplit(browser.get(asked)["Location"]).query)
    assert (again["prompt"], again["max_age"]) == (["login"], ["0"])
    provider.says(
        "s-owner", email="owner@example.com", email_verified=True, auth_time=int(time.time())
    )
    assert provider.sign_in(browser, "s-owner", "?next=/people/add/") == "/people/add/"
    assert browser.post("/people/add/", add).status_code == 302
    assert User.objects.filter(email="new@example.com").exists()


def test_somebody_without_a_password_sets_one_to_sign_with(cast: Cast, provider: Provider) -> None:
    User.objects.filter(pk=cast.shop_lead.pk).update(password="!none")
    provider.says(
        "s-lead", email="shop_lead@example.com", email_verified=True, auth_time=int(time.time())
    )
    browser = Client()
    provider.sign_in(browser, "s-lead")
    new = {"password1": "another horse 9 staple", "password2": "another horse 9 staple"}
    assert browser.post("/account/password/set/", new).status_code == 302
    assert User.objects.get(pk=cast.shop_lead.pk).check_password(new["password1"])
    assert Entry.objects.filter(action="person.password_set").exists()


def test_nothing_but_where_to_go_is_passed_along(cast: Cast, provider: Provider) -> None:
    """No process but signing in, no scope, no parameter, and no way out of here."""
    query = "?process=connect&scope=admin&auth_params=x%3Dy&next=https://elsewhere.example.com/"
    browser = Client()
    sent = browser.get(f"/account/single/{provider.id}/login/{query}")["Location"]
    asked = parse_qs(urlsplit(sent).query)
    assert "x" not in asked
    assert "admin" not in asked["scope"][0]
    assert asked["code_challenge_method"] == ["S256"]
    assert provider.sign_in(browser, "s-lead", query) == "/"
    assert who(browser) == cast.shop_lead.pk


def test_a_provider_in_the_database_is_none(cast: Cast, provider: Provider) -> None:
    """Whoever writes SQL can name another; only the settings' counts."""
    settings = {"server_url": provider.issuer}
    SocialApp.objects.create(
        provider="openid_connect", provider_id="evil", name="Evil", client_id="x", settings=settings
    )
    assert Client().get("/account/single/evil/login/").status_code == 404


def test_disconnecting_is_in_person_and_recorded(cast: Cast, provider: Provider) -> None:
    provider.sign_in(Client(), "s-lead")
    owner = Client()
    owner.force_login(cast.owner)
    page = owner.get(f"/people/{cast.shop_lead.pk}/").content.decode()
    assert "s-lead" in page
    provider.says("s-lead", email="shop_lead@example.com", email_verified=True, auth_time=1)
    lead = Client()
    provider.sign_in(lead, "s-lead")
    url, own = f"/people/{cast.shop_lead.pk}/disconnect/", "/account/disconnect/"
    assert "/reauthenticate/" in lead.post(own, {"subject": "s-lead"})["Location"]
    assert lead.post(url, {"subject": "s-lead"}).status_code == 403
    other = Client()
    other.force_login(cast.barista)
    assert other.post(url, {"subject": "s-lead"}).status_code == 403
    assert owner.post(url, {"subject": "s-lead"}).status_code == 302
    entry = Entry.objects.get(action="single.disconnected")
    assert (entry.actor, entry.subject) == ("Owner", "Shop lead")
    assert not SocialAccount.objects.exists()
    assert owner.post(url, {"subject": "s-lead"}).status_code == 404


def test_what_is_forged_or_refused_over_there_is_refused_here(
    cast: Cast, provider: Provider
) -> None:
    browser = Client()
    base = f"/account/single/{provider.id}/login/callback/"
    for query in ("?code=x&state=forged", "?error=access_denied"):
        assert browser.get(f"{base}{query}")["Location"].startswith("/account/login/")
    browser.get(f"/account/single/{provider.id}/login/")
    assert who(browser) is None
    assert Entry.objects.filter(action="sign_in.refused").count() == 2


def test_without_settings_there_is_none(cast: Cast) -> None:
    assert "/account/single/" not in Client().get("/account/login/").content.decode()
    assert Client().get("/account/single/sso-x/login/").status_code == 404
