"""A new password ends what the old one opened, and a link to set one is no way round a factor."""

import re
from dataclasses import dataclass

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.http import HttpResponse
from django.test import Client
from rest_framework.test import APIClient

from audit.capture.context import recorded
from audit.capture.models import Entry
from people.persons.invitations import invite
from people.persons.models import User
from people.sign_in.urls import OWN_ACCOUNT
from people.tokens.actions import make_token
from people.tokens.models import ApiToken, Scope
from tests.cast import PASSWORD, Cast, SignedIn

NEW = "a fine long phrase"
BOTH = {"password1": NEW, "password2": NEW}


@dataclass
class Opened:
    """What is open under the old password: a browser and a program."""

    browser: Client
    program: APIClient

    @property
    def ended(self) -> bool:
        """Whether neither gets in."""
        page, told = self.browser.get("/"), self.program.get("/api/v1/me/")
        return (page.status_code, told.status_code) == (302, 401)


@pytest.fixture
def opened(cast: Cast, signed_in: SignedIn) -> Opened:
    """The barista's."""
    program = APIClient()
    secret = make_token(by=cast.barista, name="till", scopes=[Scope.SIGN], days=9)[1]
    program.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return Opened(signed_in(cast.barista), program)


def by_link(cast: Cast, person: User, **more: str) -> HttpResponse:
    """What a stranger with the link is answered."""
    stranger = Client()
    link = invite(by=cast.owner, person=person, absolute=lambda path: path)
    there = stranger.get(link)["Location"]
    answer = stranger.post(there, {**BOTH, **more})
    assert "_auth_user_id" not in stranger.session
    assert isinstance(answer, HttpResponse)
    return answer


def test_set_by_a_link(cast: Cast, opened: Opened) -> None:
    assert not opened.ended
    by_link(cast, cast.barista)
    assert opened.ended
    _says_why()


def test_changed_by_oneself(cast: Cast, opened: Opened, signed_in: SignedIn) -> None:
    here = signed_in(cast.barista)
    here.post("/account/password/change/", {"oldpassword": PASSWORD, **BOTH})
    assert opened.ended
    assert here.get("/").status_code == 200
    _says_why()


def _says_why() -> None:
    ended = Entry.objects.get(table_name="people_apitoken", action="token.revoked")
    assert (ended.actor, ended.subject, ended.reason) == (
        "Barista",
        "till",
        "The password was set anew.",
    )


def test_tokens_of_others_and_ended_ones_stay_as_they_are(cast: Cast) -> None:
    other = make_token(by=cast.owner, name="theirs", scopes=[Scope.READ], days=1)[0]
    by_link(cast, cast.barista)
    assert ApiToken.objects.get(pk=other.pk).revoked_at is None
    assert not Entry.objects.filter(action="token.revoked").exists()


@pytest.fixture
def spare(cast: Cast) -> str:
    """The second roaster has a code app; one of the spare codes."""
    with recorded(by=cast.second_roaster, action=OWN_ACCOUNT):
        TOTP.activate(cast.second_roaster, generate_totp_secret())
        RecoveryCodes.activate(cast.second_roaster)
    found = Authenticator.objects.get(type="recovery_codes").wrap().get_unused_codes()
    return str(found[0])


@pytest.mark.parametrize("code", ["", "000000"])
def test_a_link_alone_sets_no_password_past_a_second_factor(
    cast: Cast, spare: str, code: str
) -> None:
    page = by_link(cast, cast.second_roaster, code=code)
    assert page.status_code == 200
    assert re.search(r'name="code"', page.content.decode())
    cast.second_roaster.refresh_from_db()
    assert cast.second_roaster.check_password(PASSWORD)
    assert not cast.second_roaster.check_password(NEW)


def test_with_the_factor_it_does_and_signing_in_asks_for_it_as_well(cast: Cast, spare: str) -> None:
    assert by_link(cast, cast.second_roaster, code=spare).status_code == 302
    assert not Entry.objects.filter(action="database.changed").exists()
    browser = Client()
    login = {"login": cast.second_roaster.email, "password": NEW}
    asks = browser.post("/account/login/", login)
    assert asks["Location"].startswith("/account/second-factor/authenticate/")
    assert "_auth_user_id" not in browser.session


def test_the_password_confirms_nothing_for_somebody_with_a_factor(
    cast: Cast, signed_in: SignedIn, spare: str
) -> None:
    browser = signed_in(cast.second_roaster)
    asks = browser.post("/account/reauthenticate/?next=/policy/", {"password": PASSWORD})
    assert asks["Location"] == "/account/second-factor/reauthenticate/?next=/policy/"
    assert browser.post(asks["Location"], {"code": spare})["Location"] == "/policy/"
