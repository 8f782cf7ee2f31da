"""Signing without a password: the provider vouches for just this signature, just now, once."""

import time
from html import unescape
from urllib.parse import parse_qs, urlsplit

import pytest
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, generate_totp_secret, hotp_value
from allauth.socialaccount.models import SocialAccount
from allauth.socialaccount.providers.openid_connect.views import OpenIDConnectOAuth2Adapter
from django.db import IntegrityError, transaction
from django.test import Client
from pytest_django.fixtures import Settings

from audit.capture.context import recorded
from audit.capture.models import Entry
from people.persons.models import User
from people.persons.verbs import Role
from people.policy.models import Policy
from people.sign_in.models import SignIn
from people.sign_in.urls import OWN_ACCOUNT
from people.signatures.models import Manner, Meaning, Signature
from people.signatures.rules import Need, SigningRule
from tests.calling import etag
from tests.cast import Cast, InPerson
from tests.people.passkeys.device import Device
from tests.people.sign_in.provider import Provider

POLICY = "/policy/"
CHOICE = {"sole_roaster": "on", "boiling": "refuse", "revision": "1"}
FRESH = "has said that it is you"


class Owner:
    """An owner without a password here, signed in at the provider."""

    def __init__(self, person: User, provider: Provider) -> None:
        User.objects.filter(pk=person.pk).update(password="!none")
        self.person, self.provider, self.browser = person, provider, Client()
        self.proves()
        provider.sign_in(self.browser, "s-owner")

    def proves(self, ago: float | None = 0) -> None:
        """From now on the provider says that they proved it so many seconds ago; None: no time."""
        at = "some day" if ago is None else int(time.time() - ago)
        self.provider.says("s-owner", email=self.person.email, email_verified=True, auth_time=at)

    def asked(self, **sent: str) -> str:
        """They send the form; the address at which the provider is asked."""
        page = self.browser.post(POLICY, CHOICE | sent).content.decode()
        link = page.split(f'href="/account/single/{self.provider.id}/login/', 1)[1].split('"')[0]
        start = f"/account/single/{self.provider.id}/login/{unescape(link)}"
        return str(self.browser.get(start)["Location"])

    def vouched(self, **sent: str) -> str:
        """The same, and they come back from there; the page they see then."""
        back = self.browser.get(self.provider.answer(self.asked(**sent), "s-owner"))
        assert back["Location"] == POLICY
        return self.browser.get(POLICY).content.decode()

    def sign(self, **sent: str) -> int:
        """They send it again; what that is answered with."""
        return self.browser.post(POLICY, CHOICE | sent).status_code


@pytest.fixture
def owner(cast: Cast, provider: Provider) -> Owner:
    return Owner(cast.owner, provider)


def test_they_sign_by_the_provider_s_word(owner: Owner, provider: Provider) -> None:
    page = owner.browser.get(POLICY).content.decode()
    assert "Ask Group sign-on" in page
    assert 'name="password"' not in page
    page = owner.vouched(boiling="acknowledge")
    assert FRESH in page
    assert "what you had typed is here again" in page
    assert not Signature.objects.exists()
    assert owner.sign(boiling="acknowledge") == 302
    made = Signature.objects.get()
    assert (made.user, made.manner) == (owner.person, Manner.SINGLE)
    assert Policy.current().signature == made
    entry = Entry.objects.get(table_name="people_signature")
    assert entry.changes["manner"] == [None, "single"]
    assert "By single sign-on" in owner.browser.get(POLICY).content.decode()
    assert SignIn.objects.count() == 1  # nobody was signed in anew for it


def test_the_provider_is_asked_to_have_it_proven_for_just_this(owner: Owner) -> None:
    asked = parse_qs(urlsplit(owner.asked()).query)
    assert (asked["prompt"], asked["max_age"]) == (["login"], ["0"])
    other = parse_qs(urlsplit(owner.asked(boiling="acknowledge")).query)
    assert len(asked["nonce"][0]) == 64
    assert asked["nonce"] != other["nonce"]


def test_its_word_is_good_for_that_alone_and_once(owner: Owner) -> None:
    owner.vouched()
    assert owner.sign(boiling="acknowledge") == 200  # something else: the provider is asked anew
    assert not Signature.objects.exists()
    owner.vouched()
    kept = dict(owner.browser.session)
    assert owner.sign() == 302
    session = owner.browser.session
    session.update({"single_asked": kept["single_asked"]})  # somebody puts it there again
    session.save()
    Policy.objects.update(revision=1, sole_roaster=False)
    assert owner.sign() in (200, 409)
    assert Signature.objects.count() == 1


@pytest.mark.parametrize("ago", [None, 90, 600, -600])
def test_only_what_was_proven_since_the_question_counts(owner: Owner, ago: float | None) -> None:
    """A provider that lets a browser pass that is signed in there, or says nothing of when."""
    asked = owner.asked()
    owner.proves(ago)
    owner.browser.get(owner.provider.answer(asked, "s-owner"))
    page = owner.browser.get(POLICY).content.decode()
    assert "does not say that you proved there just now" in page
    assert FRESH not in page
    assert owner.sign() == 200
    assert not Signature.objects.exists()
    assert Entry.objects.filter(action="sign_in.refused").exists()


def test_what_the_id_token_does_not_say_counts_for_nothing(
    owner: Owner, provider: Provider, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who somebody is may be asked of the provider, and there they may have entered anything."""
    decoded = OpenIDConnectOAuth2Adapter._decode_id_token

    def short(*given: object) -> dict[str, object]:
        token: dict[str, object] = decoded(*given)
        return {name: said for name, said in token.items() if name not in ("nonce", "auth_time")}

    monkeypatch.setattr(OpenIDConnectOAuth2Adapter, "_decode_id_token", short)
    asked = owner.asked()
    nonce = parse_qs(urlsplit(asked).query)["nonce"][0]
    address, now = owner.person.email, int(time.time())
    provider.says("s-owner", email=address, email_verified=True, auth_time=now, nonce=nonce)
    owner.browser.get(provider.answer(asked, "s-owner"))
    assert FRESH not in owner.browser.get(POLICY).content.decode()
    owner.sign()
    assert not Signature.objects.exists()


def test_after_five_minutes_it_is_asked_anew(
    owner: Owner, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner.vouched()
    later = time.time() + settings.ACCOUNT_REAUTHENTICATION_TIMEOUT + 61
    session = owner.browser.session
    session["account_authentication_methods"] = [{"method": "sign_in", "at": later}]
    session.save()
    monkeypatch.setattr("people.sign_in.vouching.time.time", lambda: later)
    assert owner.sign() == 200
    assert not Signature.objects.exists()


def test_somebody_else_s_answer_vouches_for_nothing(
    owner: Owner, cast: Cast, provider: Provider
) -> None:
    provider.says(
        "s-lead", email=cast.shop_lead.email, email_verified=True, auth_time=int(time.time())
    )
    owner.browser.get(provider.answer(owner.asked(), "s-lead"))
    assert int(owner.browser.session["_auth_user_id"]) == cast.shop_lead.pk
    assert owner.browser.post(POLICY, CHOICE).status_code == 403
    assert not Signature.objects.exists()


def test_a_plain_single_sign_on_vouches_for_no_signature(owner: Owner, provider: Provider) -> None:
    owner.browser.post(POLICY, CHOICE)
    provider.sign_in(owner.browser, "s-owner", "?next=/policy/")
    assert FRESH not in owner.browser.get(POLICY).content.decode()
    assert owner.sign() == 200
    assert not Signature.objects.exists()


def test_with_a_code_app_the_code_is_needed_too(owner: Owner) -> None:
    key = generate_totp_secret()
    with recorded(by=owner.person, action=OWN_ACCOUNT):
        TOTP.activate(owner.person, key)
    page = owner.vouched()
    assert 'name="code"' in page
    assert owner.sign() == 400
    assert owner.sign(code="000000") == 400
    code = format_hotp_value(hotp_value(key, int(time.time()) // 30))
    SigningRule.objects.create(meaning=Meaning.POLICY_SET, needs=Need.CODE)
    assert owner.sign(code=code) == 302
    assert Signature.objects.get().manner == Manner.SINGLE_AND_CODE


def test_whoever_has_a_passkey_too_reads_what_else_there_is(owner: Owner) -> None:
    """Their browser may run no JavaScript, and they have no password to sign with instead."""
    Device().of(owner.person)
    sent = CHOICE | {"with_passkey": "1"}
    page = owner.browser.post(POLICY, sent).content.decode()
    assert "which passkeys need: sign by single sign-on and code." in page
    assert 'data-instead="by single sign-on and code"' in page
    assert "Sign by single sign-on and code instead" in page
    SocialAccount.objects.all().delete()
    page = owner.browser.post(POLICY, sent).content.decode()
    assert "which passkeys need." in page
    assert 'data-instead=""' in page
    assert "instead</summary>" not in page


def test_where_the_house_asks_for_more_it_is_not_enough(owner: Owner) -> None:
    SigningRule.objects.create(meaning=Meaning.POLICY_SET, needs=Need.CODE)
    assert "asks for a second factor" in owner.browser.get(POLICY).content.decode()
    assert owner.sign() == 409
    assert not Signature.objects.exists()


def test_whoever_is_not_connected_reads_what_to_do(owner: Owner) -> None:
    SocialAccount.objects.all().delete()
    page = owner.browser.get(POLICY).content.decode()
    for address in ("/account/password/set/", "/account/second-factor/passkeys/"):
        assert f'href="{address}"' in page


def test_over_the_api_it_is_said_how(owner: Owner, api_in_person: InPerson) -> None:
    owner.person.refresh_from_db()
    api = api_in_person(owner.person)
    body = {"sole_roaster": True, "boiling": "refuse", "email": owner.person.email, "password": "x"}
    tag = {"If-Match": etag(api, "policy/")}
    answer = api.put("/api/v1/policy/", body, headers=tag)
    assert answer.status_code == 409
    assert "no password here" in str(answer.json())


def test_the_database_takes_it_of_nobody_else(owner: Owner, cast: Cast) -> None:
    """Of whoever has a password, or is not connected, by whatever way it is written."""

    def row(person: User, manner: str) -> None:
        with transaction.atomic():
            Signature.objects.create(
                user=person, name=person.name, role=Role.OWNER, meaning=Meaning.POLICY_SET,
                digest="0f" * 32, subject_type="policy", subject_id=1, manner=manner,
            )  # fmt: skip

    for manner in (Manner.SINGLE, Manner.SINGLE_AND_CODE):
        with pytest.raises(IntegrityError, match="single sign-on"):
            row(cast.shop_lead, manner)
    row(owner.person, Manner.SINGLE)
    User.objects.filter(pk=owner.person.pk).update(password="md5$x$y")
    with pytest.raises(IntegrityError, match="single sign-on"):
        row(owner.person, Manner.SINGLE)
    User.objects.filter(pk=owner.person.pk).update(password="!none")
    with recorded(by=owner.person, action=OWN_ACCOUNT):
        TOTP.activate(owner.person, generate_totp_secret())
    with pytest.raises(IntegrityError, match="second factor"):
        row(owner.person, Manner.SINGLE)
