"""Signing with a second factor: its code beside the password, guesses counted, each code once."""

from collections.abc import Callable

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.core.cache import cache
from django.db import IntegrityError, transaction
from django.test import Client

from audit.capture.context import recorded
from audit.capture.models import Entry
from audit.errors import Invalid, Refused
from people.persons.models import User
from people.persons.verbs import Role, Verb
from people.sign_in.urls import OWN_ACCOUNT
from people.signatures.models import Manner, Meaning, Signature
from people.signatures.signing import LIMIT, Credentials, sign
from tests.cast import PASSWORD, Cast, SignedIn

SECRET = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"  # of a made-up code app
Sign = Callable[..., Signature]


@pytest.fixture
def roaster(cast: Cast) -> User:
    """A head roaster with a code app and spare codes."""
    with recorded(by=cast.head_roaster, action=OWN_ACCOUNT):
        TOTP.activate(cast.head_roaster, SECRET)
        RecoveryCodes.activate(cast.head_roaster)
    return cast.head_roaster


@pytest.fixture
def approve(roaster: User) -> Sign:
    """They sign version 7 with these."""

    def signing(code: str, password: str = PASSWORD) -> Signature:
        with recorded(by=roaster, action=OWN_ACCOUNT):
            return sign(
                by=roaster,
                credentials=Credentials(password, roaster.email, code=code),
                meaning=Meaning.APPROVED,
                digest="0f" * 32,
                subject_type="version",
                subject_id=7,
                verb=Verb.RECIPE_APPROVE,
            )

    return signing


@pytest.fixture
def digits() -> "Digits":
    """What the code app shows, so many steps of 30 seconds from now."""

    def shown(step: int = 0) -> str:
        now = list(yield_hotp_counters_from_time())[1]
        return str(format_hotp_value(hotp_value(SECRET, now + step)))

    return shown


Digits = Callable[..., str]


def spare(person: User) -> str:
    """A spare code that was not used yet."""
    codes = Authenticator.objects.get(user=person, type="recovery_codes").wrap()
    return str(codes.get_unused_codes()[0])


def test_a_password_alone_does_not_sign_for_who_has_a_second_factor(approve: Sign) -> None:
    with pytest.raises(Invalid) as asked:
        approve("")
    assert asked.value.field == "code"
    assert not Signature.objects.exists()


def test_password_and_code_sign_and_the_signature_says_so(approve: Sign, digits: Digits) -> None:
    assert approve(digits()).manner == Manner.PASSWORD_AND_CODE


def test_without_a_second_factor_it_says_by_password(cast: Cast) -> None:
    who = cast.second_roaster
    with transaction.atomic():
        made = sign(
            by=who, credentials=Credentials(PASSWORD, who.email), meaning=Meaning.APPROVED,
            digest="0f" * 32, subject_type="version", subject_id=7, verb=Verb.RECIPE_APPROVE,
        )  # fmt: skip
    assert made.manner == Manner.PASSWORD


def test_a_spare_code_signs_once(approve: Sign, roaster: User) -> None:
    code = spare(roaster)
    assert approve(code).manner == Manner.PASSWORD_AND_CODE
    with pytest.raises(Invalid) as refused:
        approve(code)
    assert refused.value.field == "code"
    used = Entry.objects.filter(table_name="mfa_authenticator", operation="changed").get()
    assert (used.action, used.actor_id) == ("person.factor_used", roaster.pk)


def test_a_code_of_the_app_signs_once_as_long_as_it_would_be_taken(
    approve: Sign, roaster: User, digits: Digits
) -> None:
    """It is taken a step early and a step late, so for 90 seconds; the library forgets after 30."""
    code = digits(1)
    approve(code)
    cache.delete(f"allauth.mfa.totp.used?user={roaster.pk}&code={code}")
    with pytest.raises(Invalid, match="code"):
        approve(code)


def test_a_code_that_signed_in_does_not_sign_as_well(
    approve: Sign, roaster: User, digits: Digits, client: Client
) -> None:
    code = digits()
    client.post("/account/login/", {"login": roaster.email, "password": PASSWORD})
    came_in = client.post("/account/second-factor/authenticate/", {"code": code})
    assert came_in.status_code == 302
    cache.delete(f"allauth.mfa.totp.used?user={roaster.pk}&code={code}")
    with pytest.raises(Invalid, match="code"):
        approve(code)


def test_a_code_that_signed_does_not_sign_in_as_well(
    approve: Sign, roaster: User, digits: Digits, client: Client
) -> None:
    code = digits()
    approve(code)
    cache.delete(f"allauth.mfa.totp.used?user={roaster.pk}&code={code}")
    client.post("/account/login/", {"login": roaster.email, "password": PASSWORD})
    assert client.post("/account/second-factor/authenticate/", {"code": code}).status_code == 200
    assert "_auth_user_id" not in client.session


@pytest.mark.django_db(transaction=True)
def test_guessed_codes_are_counted_like_passwords(approve: Sign, digits: Digits) -> None:
    for guess in range(LIMIT):
        with pytest.raises(Invalid, match="code"):
            approve(f"00000{guess}")
    with pytest.raises(Refused, match="closed for 15 minutes"):
        approve(digits())
    refused = Entry.objects.filter(action="signing.refused").values_list("reason", flat=True)
    assert set(refused) == {"A signature was tried with a wrong code."}


def test_with_a_wrong_password_no_code_is_used_up(
    approve: Sign, digits: Digits, roaster: User
) -> None:
    code = spare(roaster)
    with pytest.raises(Invalid, match="password"):
        approve(code, "wrong")
    assert approve(code).pk


def test_codes_show_in_no_traceback() -> None:
    assert "123456" not in repr(Credentials(PASSWORD, code="123456"))


# By pages.


def policy_form(person: User, **more: str) -> dict[str, str]:
    """What is typed on the policy's page."""
    return {
        "boiling": "refuse",
        "revision": "1",
        "email": person.email,
        "password": PASSWORD,
    } | more


def test_the_page_asks_who_has_a_factor_for_a_code(
    cast: Cast, signed_in: SignedIn, digits: Digits
) -> None:
    with recorded(by=cast.owner, action=OWN_ACCOUNT):
        TOTP.activate(cast.owner, SECRET)
    browser = signed_in(cast.owner)
    assert 'name="code"' in browser.get("/policy/").content.decode()
    assert browser.post("/policy/", policy_form(cast.owner)).status_code == 400
    signed = browser.post("/policy/", policy_form(cast.owner, code=digits()), follow=True)
    assert "By password and code" in signed.content.decode()


def test_the_page_asks_nobody_else(cast: Cast, signed_in: SignedIn) -> None:
    assert 'name="code"' not in signed_in(cast.owner).get("/policy/").content.decode()


# The database itself.


def row(person: User, manner: str) -> Signature:
    """A signature written by whatever way."""
    with transaction.atomic():
        return Signature.objects.create(
            user=person, name=person.name, role=Role.HEAD_ROASTER, meaning=Meaning.APPROVED,
            digest="0f" * 32, subject_type="version", subject_id=7, manner=manner,
        )  # fmt: skip


def test_the_database_takes_no_password_alone_of_who_has_a_factor(
    cast: Cast, roaster: User
) -> None:
    with pytest.raises(IntegrityError, match="second factor"):
        row(roaster, "password")
    assert row(roaster, "password_code").pk
    assert row(cast.second_roaster, "password").pk


def test_the_database_takes_no_manner_it_does_not_know(cast: Cast) -> None:
    with pytest.raises(IntegrityError):
        row(cast.second_roaster, "by nod")
