"""Sessions: in the history with way, address and client; ended by oneself, an owner and time."""

import datetime

import pytest
from django.contrib.sessions.models import Session
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from audit.capture.models import Entry
from audit.quick import quick
from people.persons.models import User
from people.sign_in.actions import deactivate_person
from people.sign_in.models import End, SignIn
from people.tasks import forget_what_is_old
from tests.calling import act
from tests.cast import PASSWORD, ApiAs, Cast, InPerson, SignedIn

LOGIN, LOGOUT = "/account/login/", "/account/logout/"
CHANGE = "/account/password/change/"
FIREFOX = "Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0"


def browser_of(person: User, address: str = "198.51.100.7") -> Client:
    """A browser with somebody signed in by password, as they do it."""
    browser = Client(REMOTE_ADDR=address, headers={"User-Agent": FIREFOX})
    browser.post(LOGIN, {"login": person.email, "password": PASSWORD})
    assert "_auth_user_id" in browser.session
    return browser


def signed_in_there(browser: Client) -> bool:
    """Whether its next request is still somebody's."""
    return browser.get("/account/sessions/").status_code == 200


def test_signing_in_and_out_is_in_the_history(cast: Cast) -> None:
    browser = browser_of(cast.barista)
    begun = Entry.objects.get(action="sign_in.begun")
    assert (begun.actor, begun.subject_id) == ("Barista", cast.barista.pk)
    assert (begun.client_addr, begun.changes["way"]) == ("198.51.100.7", [None, "password"])
    assert begun.changes["client"] == [None, FIREFOX]
    key = str(browser.session.session_key)
    browser.post(LOGOUT)
    ended = Entry.objects.get(action="sign_in.signed_out")
    assert (ended.actor, ended.changes["end"]) == ("Barista", ["", "signed_out"])
    written = str(list(Entry.objects.values()))
    assert key not in written
    assert PASSWORD not in written
    assert not Session.objects.filter(session_key=key).exists()


def test_one_ends_one_s_own_elsewhere_at_once(cast: Cast) -> None:
    here, elsewhere = browser_of(cast.barista), browser_of(cast.barista, "203.0.113.9")
    old = SignIn.objects.get(address="203.0.113.9")
    page = here.get("/account/sessions/").content.decode()
    assert "203.0.113.9" in page
    assert "this one" in page
    assert here.post(f"/sessions/{old.pk}/end/").status_code == 302
    assert not signed_in_there(elsewhere)
    assert signed_in_there(here)
    entry = Entry.objects.get(action="sign_in.ended")
    assert (entry.actor, entry.changes["end"]) == ("Barista", ["", "ended"])
    assert here.post(f"/sessions/{old.pk}/end/").status_code == 404


def test_all_others_at_once(cast: Cast) -> None:
    here, *others = [browser_of(cast.barista) for _ in range(3)]
    assert here.post("/account/sessions/end-others/").status_code == 302
    assert [signed_in_there(each) for each in (here, *others)] == [True, False, False]


def test_an_owner_ends_anybody_s_and_says_why(cast: Cast, signed_in: SignedIn) -> None:
    owner, theirs = browser_of(cast.owner), browser_of(cast.barista)
    session = SignIn.objects.get(user=cast.barista)
    page = owner.get(f"/people/{cast.barista.pk}/").content.decode()
    assert FIREFOX[:30] in page
    assert owner.post(f"/sessions/{session.pk}/end/", {"reason": " "}).status_code == 400
    assert signed_in_there(theirs)
    owner.post(f"/sessions/{session.pk}/end/", {"reason": "Tablet lost"})
    assert not signed_in_there(theirs)
    entry = Entry.objects.get(action="sign_in.ended")
    assert (entry.actor, entry.reason, entry.subject) == ("Owner", "Tablet lost", "Barista")


def test_an_owner_who_has_not_confirmed_ends_nothing(cast: Cast) -> None:
    owner, theirs = browser_of(cast.owner), browser_of(cast.barista)
    stale = owner.session
    stale["account_authentication_methods"] = []
    stale.save()
    session = SignIn.objects.get(user=cast.barista)
    for url in (f"/sessions/{session.pk}/end/", f"/people/{cast.barista.pk}/end-sessions/"):
        answer = owner.post(url, {"reason": "Tablet lost"})
        assert answer["Location"].startswith("/account/reauthenticate/")
    assert signed_in_there(theirs)


def test_nobody_else_does(cast: Cast, api_as: ApiAs, api_in_person: InPerson) -> None:
    """Somebody else's is not there for them, and no token ends any."""
    lead, theirs = browser_of(cast.shop_lead), browser_of(cast.barista)
    session = SignIn.objects.get(user=cast.barista)
    assert lead.post(f"/sessions/{session.pk}/end/", {"reason": "x"}).status_code == 404
    assert lead.post(f"/people/{cast.barista.pk}/end-sessions/").status_code == 403
    assert act(api_in_person(cast.shop_lead), f"sessions/{session.pk}/end/").status_code == 404
    by_token = act(api_as(cast.owner), f"sessions/{session.pk}/end/", {"reason": "x"})
    assert by_token.status_code == 403
    assert signed_in_there(theirs)


def test_the_api_shows_and_ends_them(cast: Cast, api_in_person: InPerson) -> None:
    theirs = browser_of(cast.barista)
    api = api_in_person(cast.owner)
    shown = api.get(f"/api/v1/people/{cast.barista.pk}/access/").json()
    [session] = shown["live"]
    assert (session["way"], session["address"]) == ("password", "198.51.100.7")
    assert "session_key" not in str(shown)
    assert act(api, f"sessions/{session['id']}/end/").status_code == 400
    answer = act(api, f"sessions/{session['id']}/end/", {"reason": "Left the group"})
    assert answer.json()["end"] == "ended"
    assert not signed_in_there(theirs)
    assert api_in_person(cast.barista).get("/api/v1/sessions/").json()["live"] == []


def test_a_new_password_ends_the_others_and_says_so(cast: Cast) -> None:
    here, elsewhere = browser_of(cast.barista), browser_of(cast.barista)
    new = "another horse 9 staple"
    typed = {"oldpassword": PASSWORD, "password1": new, "password2": new}
    assert here.post(CHANGE, typed).status_code == 302
    assert (signed_in_there(here), signed_in_there(elsewhere)) == (True, False)
    entry = Entry.objects.get(action="sign_in.ended")
    assert (entry.reason, entry.changes["end"][1]) == ("The password was set anew.", "password")
    live = SignIn.objects.live().get(user=cast.barista)
    assert live.session_key == here.session.session_key
    here.post(LOGOUT)
    assert SignIn.objects.get(pk=live.pk).end == End.SIGNED_OUT


def test_ending_somebody_s_sign_in_ends_their_sessions(cast: Cast) -> None:
    theirs = browser_of(cast.barista)
    barista = User.objects.get(pk=cast.barista.pk)
    deactivate_person(by=cast.owner, person=barista, revision=barista.revision)
    assert not signed_in_there(theirs)
    assert SignIn.objects.get().end == End.DEACTIVATED


def test_a_session_past_its_time_is_noticed(cast: Cast) -> None:
    browser_of(cast.barista)
    kept = browser_of(cast.owner)
    gone = SignIn.objects.get(user=cast.barista)
    past = timezone.now() - datetime.timedelta(seconds=1)
    Session.objects.filter(session_key=gone.session_key).update(expire_date=past)
    for _ in range(2):
        forget_what_is_old()
    assert [each.user for each in SignIn.objects.filter(end=End.EXPIRED)] == [cast.barista]
    assert Entry.objects.filter(action="sign_in.expired").count() == 1
    assert signed_in_there(kept)


def test_looking_at_pages_writes_nothing(cast: Cast) -> None:
    """When a session was last used is kept to ten minutes, not with every request."""
    browser = browser_of(cast.barista)
    browser.get("/account/sessions/")
    with CaptureQueriesContext(connection) as asked:
        browser.get("/account/sessions/")
    assert not [q["sql"] for q in asked if not q["sql"].startswith("SELECT")]
    before = SignIn.objects.get().seen_at
    quick.delete(f"session_seen:{SignIn.objects.get().pk}")
    browser.get("/account/sessions/")
    assert SignIn.objects.get().seen_at > before
    assert Entry.objects.filter(table_name="people_signin").count() == 1


def test_the_database_keeps_no_key_of_an_ended_one(cast: Cast) -> None:
    browser_of(cast.barista)
    with pytest.raises(IntegrityError), transaction.atomic():
        SignIn.objects.update(ended_at=timezone.now(), end=End.ENDED)


def test_wrong_codes_and_lock_outs_are_written_down(cast: Cast) -> None:
    """With address and client, about whom it was tried with, and never what was typed."""
    stranger = Client(REMOTE_ADDR="203.0.113.9", headers={"User-Agent": "odd\u202ething"})
    for _ in range(7):
        stranger.post(LOGIN, {"login": cast.owner.email, "password": "secret guess"})
    told = Entry.objects.filter(action="sign_in.refused").order_by("pk")
    assert {entry.subject_id for entry in told} == {cast.owner.pk}
    assert {entry.client_addr for entry in told} == {"203.0.113.9"}
    assert told[0].changes == {"client": [None, "odd⟨U+202E⟩thing"]}
    assert any(entry.reason.startswith("A sign-in was tried too often.") for entry in told)
    assert "secret guess" not in str(list(told.values()))


def test_a_crowd_of_strangers_does_not_fill_the_history(cast: Cast) -> None:
    """Each from an address of their own, each with an address nobody has."""
    for number in range(130):
        stranger = Client(REMOTE_ADDR=f"203.0.{number}.9")
        stranger.post(LOGIN, {"login": f"nobody{number}@example.com", "password": "x"})
    told = Entry.objects.filter(action="sign_in.refused")
    assert told.count() == 100
    assert "nobody" not in str(list(told.values()))


def test_a_person_s_page_shows_what_lets_them_in(cast: Cast, api_as: ApiAs) -> None:
    api_as(cast.barista)
    browser_of(cast.barista)
    page = browser_of(cast.owner).get(f"/people/{cast.barista.pk}/").content.decode()
    for words in (
        "Last signed in",
        "by password",
        "None: nothing besides a password is asked for",
        "Usable",
    ):
        assert words in page
