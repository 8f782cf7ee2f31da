"""What somebody at the counter might try with cookies, sessions and numbers."""

import pytest
from django.test import Client

from people.pins.actions import set_pin
from people.sign_in.models import End, SignIn
from tests.cast import PASSWORD, Cast
from tests.people.tablets.bench import PINS, a_tablet, taken_over, whose, with_pin

pytestmark = pytest.mark.django_db


def signed_in_in_full(cast: Cast) -> Client:
    """The owner at a tablet, with password."""
    tablet = a_tablet(cast)
    tablet.post("/account/login/", {"login": cast.owner.email, "password": PASSWORD})
    assert tablet.get("/people/").status_code == 200
    return tablet


def with_session_of(tablet: Client, other: Client) -> Client:
    other.cookies["sessionid"] = tablet.cookies["sessionid"].value
    return other


def test_a_full_session_without_the_tablets_cookie_is_nobodys(cast: Cast) -> None:
    """Else it would reach other sites by leaving a cookie away, and not end when left alone."""
    tablet = signed_in_in_full(cast)
    taken = with_session_of(tablet, Client())
    assert taken.get(f"/sites/{cast.other_site.pk}/").status_code == 302
    assert taken.get("/policy/").status_code == 302
    assert SignIn.objects.get(user=cast.owner).end == End.TABLET
    assert tablet.get("/people/").status_code == 302


def test_a_full_session_at_another_tablet_is_nobodys(cast: Cast) -> None:
    tablet = signed_in_in_full(cast)
    taken = with_session_of(tablet, a_tablet(cast, "Counter right"))
    assert taken.get("/people/").status_code == 302
    assert SignIn.objects.get(user=cast.owner).end == End.TABLET


def test_a_password_of_ones_own_set_there_leaves_it_as_it_was(cast: Cast) -> None:
    tablet = signed_in_in_full(cast)
    new = "a new horse 9 x"
    sent = {"oldpassword": PASSWORD, "password1": new, "password2": new}
    assert tablet.post("/account/password/change/", sent).status_code == 302
    assert tablet.get("/people/").status_code == 200
    assert with_session_of(tablet, Client()).get("/people/").status_code == 302


@pytest.mark.parametrize("way", ["pin", "password"])
def test_a_session_that_was_planted_is_another_afterwards(cast: Cast, way: str) -> None:
    """Fixation: whoever knows the cookie of before is nobody with it."""
    tablet, person = a_tablet(cast), with_pin(cast)
    tablet.get("/tablet/?next=/board/")
    session = tablet.session
    session["planted"] = 1
    session.save()
    planted = session.session_key or ""
    tablet.cookies["sessionid"] = planted
    if way == "pin":
        assert taken_over(tablet, person, PINS["barista"]) == 302
    else:
        tablet.post("/account/login/", {"login": person.email, "password": PASSWORD})
    assert whose(tablet) == str(person.pk)
    assert tablet.session.session_key != planted
    thief = Client()
    thief.cookies["sessionid"] = planted
    thief.cookies["tablet"] = tablet.cookies["tablet"].value
    assert thief.get("/board/").status_code == 302


def test_numbers_tell_nobody_who_works_here(cast: Cast) -> None:
    """Whoever has no PIN, no role there or no account: one answer, at a tablet and elsewhere."""
    tablet, stranger = a_tablet(cast), Client()
    set_pin(by=cast.other_lead, digits="5093")
    person = with_pin(cast)
    numbers = [cast.other_lead.pk, cast.shop_lead.pk, cast.owner.pk, 10**9]
    for asks in (tablet.get, tablet.post):
        answers = {_answer(asks(f"/tablet/people/{n}/", {"pin": "5093"})) for n in numbers}
        assert [status for status, _ in answers] == [404]
    here = {_answer(stranger.post(f"/tablet/people/{n}/")) for n in [*numbers, person.pk]}
    assert [status for status, _ in here] == [404]


def _answer(response: object) -> tuple[int, str]:
    """What it says, but for the key of a form that is another each time."""
    page = response.content.decode()  # type: ignore[attr-defined]
    start, end = page.find("<main"), page.find("</main>")
    return response.status_code, page[start:end]  # type: ignore[attr-defined]
