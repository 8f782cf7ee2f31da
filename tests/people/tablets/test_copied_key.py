"""A copied cookie: good until the tablet's key is renewed; shown after that it is found out."""

import datetime

import pytest
from django.contrib.auth.models import AnonymousUser
from django.contrib.sessions.backends.db import SessionStore
from django.test import Client, RequestFactory
from django.utils import timezone

from audit.alarms import alarms
from audit.capture.models import Entry
from audit.errors import UNSHOWN
from people.sign_in.sessions import TABLET
from people.tablets.models import Tablet
from people.tablets.taking_over import take_over
from tests.cast import Cast
from tests.people.tablets.bench import CHOICE, LEAVE, PINS, a_tablet, row_of, taken_over, with_pin

pytestmark = pytest.mark.django_db


def known(browser: Client) -> bool:
    """Whether it is taken for the tablet."""
    return "Who are you?" in browser.get(CHOICE).content.decode()


def make_old() -> None:
    """Its key was renewed long enough ago for another."""
    Tablet.objects.update(renewed_at=timezone.now() - datetime.timedelta(hours=2))


def copy_of(tablet: Client) -> Client:
    """Another browser with the same key."""
    thief = Client(REMOTE_ADDR="203.0.113.66")
    thief.cookies["tablet"] = tablet.cookies["tablet"].value
    return thief


def test_a_copy_is_found_out_once_the_key_was_renewed(cast: Cast) -> None:
    tablet, person = a_tablet(cast), with_pin(cast)
    thief = copy_of(tablet)
    assert known(thief)  # until then
    make_old()
    assert taken_over(tablet, person, PINS["barista"]) == 302
    assert thief.cookies["tablet"].value != tablet.cookies["tablet"].value
    tablet.post(LEAVE)
    assert known(tablet)
    Tablet.objects.update(shown_at=timezone.now() - datetime.timedelta(minutes=2))
    assert not known(thief)
    assert known(tablet)
    refused = Entry.objects.filter(action="sign_in.refused").latest("id")
    assert "there is a copy of its cookie" in refused.reason
    assert (refused.subject, refused.client_addr) == ("Counter left", "203.0.113.66")
    assert [a.words for a in alarms() if "copy of the key" in a.words]
    assert row_of().copied_at is not None


def test_an_answer_that_got_lost_shuts_nobody_out(cast: Cast) -> None:
    tablet, person = a_tablet(cast), with_pin(cast)
    old = tablet.cookies["tablet"].value
    for _ in range(3):
        make_old()
        assert taken_over(tablet, person, PINS["barista"]) == 302
        assert tablet.cookies["tablet"].value != old
        tablet.cookies["tablet"] = old  # the answer with the new one was lost
        tablet.cookies.pop("sessionid")
    assert known(tablet)
    assert row_of().copied_at is None


def test_two_taps_at_once_renew_it_once(cast: Cast, rf: RequestFactory) -> None:
    """A third key would be in no cookie, or shut out whichever answer came last."""
    tablet, person = a_tablet(cast), with_pin(cast)
    make_old()
    seen = [row_of(), row_of()]  # as both requests read it

    def key(row: Tablet) -> str:
        request = rf.post("/")
        request.COOKIES["tablet"] = tablet.cookies["tablet"].value
        request.session = SessionStore()
        request.user = AnonymousUser()
        vars(request)[TABLET] = row.pk
        return take_over(request, tablet=row, person=person, digits=PINS["barista"]).key

    assert [bool(key(row)) for row in seen] == [True, False]
    assert known(tablet)  # the former one still, until the new one is shown


def test_renewing_is_an_entry_that_says_that_and_never_what(cast: Cast) -> None:
    tablet, person = a_tablet(cast), with_pin(cast)
    make_old()
    taken_over(tablet, person, PINS["barista"])
    entry = Entry.objects.get(action="tablet.key_renewed")
    assert (entry.actor, entry.changes) == ("Barista", {"digest": [UNSHOWN, UNSHOWN]})


@pytest.mark.parametrize("key", ["", "x", "x" * 5000, "\x00", "clé"])
def test_other_cookies_are_nothing(cast: Cast, key: str) -> None:
    a_tablet(cast)
    browser = Client()
    browser.cookies["tablet"] = key
    assert not known(browser)


def test_a_session_copied_with_the_key_ends_with_the_tablet(cast: Cast) -> None:
    tablet, person = a_tablet(cast), with_pin(cast)
    taken_over(tablet, person, PINS["barista"])
    thief = copy_of(tablet)
    thief.cookies["sessionid"] = tablet.cookies["sessionid"].value
    assert thief.get("/board/").status_code == 200  # both copied: until handed over or revoked
    tablet.post(LEAVE)
    assert thief.get("/board/").status_code == 302
