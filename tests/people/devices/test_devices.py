"""A device is one's own, and goes with whatever ends being signed in there."""

import os

import pytest
from django.test import Client

from people.devices.actions import COOKIE, forget_left
from people.devices.models import Device
from people.devices.push_key import public_key, publish
from people.persons.models import User
from people.sign_in.actions import deactivate_person
from people.sign_in.models import SignIn
from people.sign_in.sessions import end_sessions, note_expired
from tests.cast import PASSWORD, Cast
from tests.people.devices.conftest import PushService, browser, text

pytestmark = pytest.mark.usefixtures("push_service")


def signed_in_for_real(person: User, client: Client | None = None) -> Client:
    client = client or Client()
    sent = {"login": person.email, "password": PASSWORD}
    assert client.post("/account/login/", sent).status_code == 302
    return client


def form(path: str = "/one", **others: str) -> dict[str, str]:
    keys = browser(path)
    return {"endpoint": keys.endpoint, "p256dh": keys.p256dh, "auth": text(keys.auth),
            "made_for": public_key(), **others}  # fmt: skip


@pytest.fixture
def lead(cast: Cast) -> Client:
    """The shop lead's browser, with its device added."""
    publish()
    client = signed_in_for_real(cast.shop_lead)
    assert client.post("/notices/devices/", form()).status_code == 302
    assert Device.objects.get().person == cast.shop_lead
    return client


def test_it_is_listed_and_taken_away(lead: Client) -> None:
    assert "Take away" in lead.get("/notices/").content.decode()
    assert lead.post(f"/notices/devices/{Device.objects.get().pk}/remove/").status_code == 302
    assert not Device.objects.exists()


def test_one_more_for_the_same_browser_takes_the_place_of_the_one_before(
    lead: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("people.devices.actions.MOST", 1)
    assert lead.post("/notices/devices/", form("/another")).status_code == 302
    assert Device.objects.get().endpoint.endswith("/another")
    lead.cookies.pop(COOKIE)
    assert lead.post("/notices/devices/", form("/elsewhere")).status_code == 409
    assert Device.objects.count() == 1


def test_nobody_takes_away_somebody_elses(lead: Client, cast: Cast) -> None:
    other = signed_in_for_real(cast.owner)
    assert other.post(f"/notices/devices/{Device.objects.get().pk}/remove/").status_code == 404
    assert Device.objects.exists()


def test_signing_out_there_ends_it(lead: Client) -> None:
    lead.post("/account/logout/")
    assert not Device.objects.exists()


def test_signing_out_elsewhere_does_not(lead: Client, cast: Cast) -> None:
    elsewhere = signed_in_for_real(cast.shop_lead)
    elsewhere.post("/account/logout/")
    forget_left()
    assert Device.objects.exists()


def test_a_session_that_ran_out_does_not_but_the_next_one_ended_does(
    lead: Client, cast: Cast
) -> None:
    lead.session.flush()
    note_expired()
    forget_left()
    assert Device.objects.exists()
    signed_in_for_real(cast.shop_lead, lead)
    assert Device.objects.get().sign_in == SignIn.objects.live().get()
    end_sessions(by=cast.owner, person=cast.shop_lead, but=0, reason="Lost the phone")
    forget_left()
    assert not Device.objects.exists()


def test_deactivation_ends_it(lead: Client, cast: Cast) -> None:
    person = User.objects.get(pk=cast.shop_lead.pk)
    deactivate_person(by=cast.owner, person=person, revision=person.revision)
    forget_left()
    assert not Device.objects.exists()


def test_who_signs_in_there_next_is_not_told_what_is_anothers(lead: Client, cast: Cast) -> None:
    lead.cookies.pop("sessionid")
    signed_in_for_real(cast.barista, lead)
    assert not Device.objects.exists()


@pytest.mark.parametrize(
    "bad",
    [
        {"endpoint": "https://127.0.0.1/x"},
        {"endpoint": "http://push.example.com/x"},
        {"endpoint": "https://postgres/x"},
        {"p256dh": "short"},
        {"p256dh": "!" * 87},
        {"auth": text(os.urandom(15))},
    ],
)
def test_what_no_browser_gives_out_is_refused(
    bad: dict[str, str], lead: Client, cast: Cast
) -> None:
    answer = lead.post("/notices/devices/", form("/two", **bad))
    assert answer.status_code == 400
    assert Device.objects.count() == 1


def test_another_key_than_ours_is_refused(lead: Client) -> None:
    other = text(os.urandom(65))
    assert lead.post("/notices/devices/", form("/two", made_for=other)).status_code == 409


def test_it_needs_sign_in_and_proof_of_the_page(cast: Cast, push_service: PushService) -> None:
    assert Client().post("/notices/devices/", form()).status_code == 302
    assert not Device.objects.exists()
