"""Taking over by PIN: who may, where it leads, how it ends; nothing is left of the former."""

import pytest
from django.contrib.sessions.models import Session
from django.test import Client

from audit.capture.models import Entry
from people.persons.actions import assign_role, remove_assignment
from people.persons.models import Assignment
from people.persons.verbs import Role
from people.pins.actions import remove_pin, set_pin
from people.sign_in.actions import deactivate_person
from people.sign_in.models import End, SignIn, Way
from people.tablets.actions import set_tablet_policy
from people.tablets.models import Tablet
from tests.cast import PASSWORD, Cast, SignedIn
from tests.people.tablets.bench import (
    CHOICE,
    LEAVE,
    PINS,
    a_tablet,
    at_work,
    row_of,
    taken_over,
    whose,
    with_pin,
)
from web.once import key_for

pytestmark = pytest.mark.django_db


def test_the_choice_has_those_of_the_site_who_have_a_pin(cast: Cast) -> None:
    tablet = a_tablet(cast)
    assert "Nobody of this site has a PIN" in tablet.get(CHOICE).content.decode()
    with_pin(cast, "barista")
    with_pin(cast, "head_roaster")
    set_pin(by=cast.other_lead, digits="5093")
    page = tablet.get(CHOICE).content.decode()
    assert "Barista" in page
    assert "Head roaster" in page  # who covers all sites
    assert "Other lead" not in page
    assert "Shop lead" not in page  # has none


def test_a_right_pin_takes_over_and_the_history_says_how(cast: Cast) -> None:
    tablet = at_work(cast)
    assert whose(tablet) == str(cast.barista.pk)
    signed = SignIn.objects.get(user=cast.barista)
    assert (signed.way, signed.tablet) == (Way.PIN, row_of())
    begun = Entry.objects.get(action="sign_in.begun", table_name="people_signin")
    assert (begun.actor, begun.changes["way"]) == ("Barista", [None, "pin"])
    assert begun.request_id.startswith(f"device-{row_of().pk}-")
    said = ("actor", "reason", "subject", "parameter", "changes")  # numbers have them by chance
    assert PINS["barista"] not in str(list(Entry.objects.values(*said)))
    page = tablet.get("/board/").content.decode()
    assert "Counter left" in page
    assert "Switch person" in page
    assert "/account/password/change/" not in page


def test_a_person_of_another_site_is_not_there(cast: Cast) -> None:
    tablet = a_tablet(cast)
    set_pin(by=cast.other_lead, digits="5093")
    assert taken_over(tablet, cast.other_lead, "5093") == 404
    assert whose(tablet) is None


def test_without_a_tablet_a_pin_is_nothing(cast: Cast) -> None:
    person = with_pin(cast)
    assert taken_over(Client(), person, PINS["barista"]) == 404


def test_switching_is_one_tap_and_leaves_nothing(cast: Cast) -> None:
    tablet = at_work(cast)
    key = tablet.session.session_key
    assert tablet.post(LEAVE)["Location"] == CHOICE
    assert not Session.objects.filter(session_key=key).exists()
    assert dict(tablet.session) == {}
    lead = with_pin(cast, "shop_lead")
    assert taken_over(tablet, lead, PINS["shop_lead"]) == 302
    assert whose(tablet) == str(lead.pk)
    ended = SignIn.objects.get(user=cast.barista)
    assert (ended.end, ended.session_key) == (End.HANDED_OVER, None)


def test_somebody_else_takes_over_while_one_is_signed_in(cast: Cast) -> None:
    tablet = at_work(cast)
    lead = with_pin(cast, "shop_lead")
    assert taken_over(tablet, lead, PINS["shop_lead"]) == 302
    assert SignIn.objects.get(user=cast.barista).end == End.HANDED_OVER
    assert whose(tablet) == str(lead.pk)


def test_left_alone_it_ends_after_the_policys_minutes(cast: Cast) -> None:
    set_tablet_policy(
        by=cast.owner,
        site_id=cast.site.pk,
        revision=1,
        idle_minutes=3,
        shown="nothing",
        shown_on_tablet="nothing",
    )
    tablet = at_work(cast)
    tablet.get("/board/")
    assert tablet.session.get_expiry_age() == 180
    # What a page asks for by itself keeps nobody signed in.
    before = Session.objects.get(session_key=tablet.session.session_key).expire_date
    tablet.get("/board/", headers={"HX-Request": "true"})
    tablet.get("/board/", headers={"Sec-Fetch-Mode": "cors"})
    assert Session.objects.get(session_key=tablet.session.session_key).expire_date == before
    Session.objects.update(expire_date="2020-01-01T00:00Z")
    answer = tablet.get("/board/")
    assert answer["Location"] == f"{CHOICE}?next=/board/"


@pytest.mark.parametrize("same", [True, False])
def test_what_was_typed_comes_back_for_the_same_person_alone(cast: Cast, *, same: bool) -> None:
    tablet = at_work(cast)
    site = f"/sites/{cast.site.pk}/tablets/"
    sent = {"name": "Halftyped", "tablet_back": site, "tablet_to": site}
    assert tablet.post("/tablet/rest/", sent)["Location"] == CHOICE
    assert whose(tablet) is None
    assert SignIn.objects.get(user=cast.barista).end == End.LEFT_ALONE
    lead = with_pin(cast, "shop_lead")
    next_ = (cast.barista, PINS["barista"]) if same else (lead, PINS["shop_lead"])
    answer = tablet.post(f"/tablet/people/{next_[0].pk}/", {"pin": next_[1]})
    assert answer["Location"] == (site if same else "/")
    assert ("Halftyped" in str(dict(tablet.session))) is same


def test_typed_longer_than_the_session_lasts_it_is_kept_all_the_same(cast: Cast) -> None:
    tablet, site = at_work(cast), f"/sites/{cast.site.pk}/tablets/"
    sent = {"name": "Halftyped", "tablet_back": site, "tablet_to": site}
    key = key_for(cast.barista.pk)
    Session.objects.update(expire_date="2020-01-01T00:00Z")
    assert tablet.post("/tablet/rest/", {**sent, "sent_once": key})["Location"] == CHOICE
    answer = tablet.post(f"/tablet/people/{cast.barista.pk}/", {"pin": PINS["barista"]})
    assert answer["Location"] == site
    assert "Halftyped" in str(dict(tablet.session))


def test_left_alone_on_no_page_it_leads_home(cast: Cast) -> None:
    tablet = at_work(cast)
    tablet.post("/tablet/rest/", {"name": "Halftyped", "tablet_back": "x", "tablet_to": "x"})
    answer = tablet.post(f"/tablet/people/{cast.barista.pk}/", {"pin": PINS["barista"]})
    assert answer.status_code == 302


def test_a_pin_set_anew_or_removed_ends_what_it_opened(cast: Cast) -> None:
    tablet = at_work(cast)
    set_pin(by=cast.barista, digits="8350")
    assert tablet.get("/board/").status_code == 302
    assert taken_over(tablet, cast.barista, PINS["barista"]) == 400
    assert taken_over(tablet, cast.barista, "8350") == 302
    remove_pin(by=cast.owner, person=cast.barista)
    assert tablet.get("/board/").status_code == 302
    assert taken_over(tablet, cast.barista, "8350") == 404


def test_a_deactivated_person_is_out_and_has_no_pin(cast: Cast) -> None:
    tablet = at_work(cast)
    cast.barista.refresh_from_db()
    deactivate_person(by=cast.owner, person=cast.barista, revision=cast.barista.revision)
    assert tablet.get("/board/").status_code == 302
    assert taken_over(tablet, cast.barista, PINS["barista"]) == 404
    assert not hasattr(type(cast.barista).objects.get(pk=cast.barista.pk), "pin")


def test_a_role_that_ended_is_the_end_of_it(cast: Cast) -> None:
    tablet = at_work(cast)
    assign_role(by=cast.owner, person=cast.barista, role=Role.BARISTA, site_id=cast.other_site.pk)
    here = Assignment.objects.get(user=cast.barista, site=cast.site)
    remove_assignment(by=cast.owner, assignment=here)
    assert SignIn.objects.get(user=cast.barista).end == End.ROLE
    assert tablet.get("/board/").status_code == 302
    assert taken_over(tablet, cast.barista, PINS["barista"]) == 404


def test_a_password_set_anew_ends_it_too(cast: Cast, signed_in: SignedIn) -> None:
    tablet = at_work(cast)
    own = Client()
    own.post("/account/login/", {"login": cast.barista.email, "password": PASSWORD})
    new = "another horse 9 staple"
    own.post(
        "/account/password/change/",
        {"oldpassword": PASSWORD, "password1": new, "password2": new},
    )
    assert tablet.get("/board/").status_code == 302


def test_a_session_taken_to_another_browser_is_nobodys(cast: Cast) -> None:
    tablet = at_work(cast)
    elsewhere = Client()
    elsewhere.cookies["sessionid"] = tablet.cookies["sessionid"].value
    assert elsewhere.get("/board/").status_code == 302
    assert SignIn.objects.get(user=cast.barista).end == End.TABLET


def test_revoked_mid_form_nothing_is_done_and_nothing_typed_is_lost(
    cast: Cast, signed_in: SignedIn
) -> None:
    tablet = at_work(cast, "shop_lead")
    key = tablet.get("/account/sessions/").content.decode().partition('name="sent_once" value="')[2]
    Tablet.objects.update(revoked_at="2026-11-28T12:00Z", digest=None)
    answer = tablet.post("/tablets/1/revoke/", {"sent_once": key.partition('"')[0], "name": "x"})
    assert answer.status_code == 302
    assert whose(tablet) is None
