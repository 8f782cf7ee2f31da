"""A session by PIN does the bar's day and no more: said inside the actions, not by pages alone."""

import time
from collections.abc import Callable

import pytest
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.test import Client, RequestFactory

from audit.capture.models import Entry
from audit.errors import NotPermitted, Refused
from people.devices.actions import add_device
from people.notices.choices import set_choices
from people.persons.actions import assign_role, create_person
from people.persons.models import User
from people.persons.permissions import covered_sites, may, require, require_everywhere
from people.persons.standing import PinNotEnough, Standing, standing
from people.persons.verbs import BY_PIN, MAY, Role, Verb
from people.pins.actions import remove_pin, set_pin
from people.policy.actions import set_policy
from people.policy.models import Boiling
from people.sign_in.models import SignIn, Way
from people.sign_in.sessions import TABLET, end_sessions
from people.sign_in.single import disconnect
from people.signatures.models import Signature
from people.tablets.actions import add_tablet
from people.tokens.actions import make_token, revoke_token
from people.tokens.models import Scope
from recipes.publishing import run
from recipes.versions.review import approve
from stations.handover.actions import leave_note
from stations.handover.models import HandoverNote
from tests.bar import Bar
from tests.cast import PASSWORD, Cast, SignedIn, credentials
from tests.people.tablets.bench import CHOICE, PINS, a_tablet, at_work, taken_over, with_pin
from tests.publishing import Publish
from tests.recipes.shelf import make_in_review, make_recipe

pytestmark = pytest.mark.django_db
SHOT = {"dose_mass": "18.0", "beverage_mass": "36", "shot_time": "28"}


def by_pin(person: User, cast: Cast) -> Standing:
    """Where somebody stands who took over at the harbour."""
    return Standing(person.pk, cast.site.pk, by_pin=True)


def test_every_verb_was_thought_about() -> None:
    """What is signed, approved, or reaches beyond the site is not among these."""
    assert {verb for verb in Verb if verb in BY_PIN} == {
        Verb.RECIPE_VIEW,
        Verb.SLOT_VIEW,
        Verb.SLOT_READ_BACK,
        Verb.EQUIPMENT_VIEW,
        Verb.SHOT_LOG,
        Verb.GRINDER_SET,
        Verb.LOT_OPEN,
        Verb.HANDOVER_WRITE,
        Verb.REQUEST_MAKE,
    }
    assert {role for verb in BY_PIN for role in MAY[verb]} == set(Role)  # each may take over


@pytest.mark.parametrize("verb", sorted(Verb))
def test_each_verb_for_somebody_with_every_role(cast: Cast, verb: Verb) -> None:
    """A person read anew has no more rights than before: where they stand is not on the object."""
    for role in Role:
        if (role, None) not in [(each.role, each.site_id) for each in cast.owner.roles_held()]:
            assign_role(by=None, person=cast.owner, role=role, site_id=None)
    with standing(by_pin(cast.owner, cast)):
        person = User.objects.get(pk=cast.owner.pk)
        assert may(person, verb, cast.site.pk) is (verb in BY_PIN)
        assert not may(person, verb, cast.other_site.pk)
        assert covered_sites(person, verb) == frozenset({cast.site.pk} if verb in BY_PIN else ())
        if verb in BY_PIN:
            require(person, verb, cast.site.pk)
        else:
            with pytest.raises(PinNotEnough):
                require(person, verb, cast.site.pk)
        with pytest.raises(NotPermitted):
            require(person, verb, cast.other_site.pk)
        with pytest.raises(NotPermitted):
            require_everywhere(person, verb)
    assert may(cast.owner, verb, cast.other_site.pk)
    assert MAY[verb]


def test_what_needs_no_role_is_not_done_by_a_pin_either(cast: Cast) -> None:
    end_sessions(by=cast.owner, person=cast.owner, but=0)
    token = make_token(by=cast.owner, name="old", scopes=[Scope.READ], days=1)[0]
    attempts: list[Callable[[], object]] = [
        lambda: make_token(by=cast.owner, name="x", scopes=[Scope.READ], days=1),
        lambda: end_sessions(by=cast.owner, person=cast.owner, but=0),
        lambda: revoke_token(by=cast.owner, token=token),
        lambda: disconnect(by=cast.owner, person=cast.owner, subject="s-owner"),
        lambda: set_pin(by=cast.owner, digits="7304"),
        lambda: remove_pin(by=cast.owner, person=cast.owner),
        lambda: create_person(by=cast.owner, email="n@example.com", name="New one"),
        lambda: add_tablet(by=cast.owner, site_id=cast.site.pk, name="x"),
    ]
    with standing(by_pin(cast.owner, cast)):
        for attempt in attempts:
            with pytest.raises(NotPermitted):
                attempt()


def test_the_shot_is_logged_and_the_history_names_person_and_device(
    bar: Bar, cast: Cast, send: Publish, signed_in: SignedIn
) -> None:
    run.run(send().pk)
    tablet, slot = at_work(cast), bar.slots[0]
    assert tablet.post(f"/slots/{slot.pk}/shots/new/", SHOT).status_code == 302
    entry = Entry.objects.filter(action="shot.logged").latest("id")
    assert (entry.actor, entry.request_id[: len("device-")]) == ("Barista", "device-")
    assert tablet.post(f"/slots/{bar.slots[-1].pk}/shots/new/", SHOT).status_code == 404
    owner = signed_in(cast.owner)
    whole = owner.get(f"/history/{entry.pk}/").content.decode()
    assert "<dt>Device</dt><dd>Counter left</dd>" in whole
    listed = owner.get("/history/", {"device": "Counter left", "action": "shot.logged"})
    assert [row.entry.actor for row in listed.context["rows"]] == ["Barista"]
    assert "at Counter left" in listed.content.decode()


def test_the_next_shift_finds_its_note_at_the_tablet(cast: Cast) -> None:
    """Where else would it be left? The link to it stands on the tablet's first page."""
    leave_note(by=cast.shop_lead, site=cast.site, text="Milk is low")
    tablet, notes = at_work(cast), f"/sites/{cast.site.pk}/notes/"
    first = tablet.get("/").content.decode()
    assert "Milk is low" in first
    assert f'href="{notes}"' in first
    assert tablet.post(notes, {"text": "Milk is in"}).status_code == 302
    assert HandoverNote.objects.get(text="Milk is in").by == cast.barista


def test_no_signature_by_a_pin_with_right_credentials(bar: Bar, cast: Cast) -> None:
    """Even with the right password in the form: the session is what it is."""
    with standing(by_pin(cast.owner, cast)), pytest.raises(NotPermitted):
        set_policy(
            by=cast.owner,
            revision=1,
            sole_roaster=True,
            boiling=Boiling.REFUSE,
            credentials=credentials(cast.owner),
        )
    version = make_in_review(cast, make_recipe(cast))
    with standing(by_pin(cast.second_roaster, cast)), pytest.raises(PinNotEnough):
        approve(
            by=cast.second_roaster,
            version=version,
            seen=version.content_digest,
            credentials=credentials(cast.second_roaster),
        )
    assert not Signature.objects.filter(user=cast.second_roaster, subject_id=version.pk).exists()


def test_signing_asks_for_the_full_sign_in_and_keeps_what_was_typed(bar: Bar, cast: Cast) -> None:
    tablet = at_work(cast, "head_roaster")
    page = f"/versions/{bar.version.pk}/withdraw/"
    answer = tablet.post(page, {"reason": "Went stale", "password": PASSWORD}, HTTP_REFERER=page)
    assert answer.status_code == 403
    shown = answer.content.decode()
    assert "A PIN is not enough to withdraw a version." in shown
    bar.version.refresh_from_db()
    assert bar.version.state == "approved"
    refused = Entry.objects.filter(operation="refused").latest("id")
    assert (refused.actor, refused.request_id[:7]) == ("Head roaster", "device-")
    on = tablet.post("/tablet/full/", {"next": page})
    assert on["Location"] == f"/account/login/?next={page.replace('/', '%2F')}"
    tablet.post(on["Location"], {"login": cast.head_roaster.email, "password": PASSWORD})
    live = SignIn.objects.live().get(user=cast.head_roaster)
    assert (live.way, live.tablet_id is not None) == (Way.PASSWORD, True)
    again = tablet.get(page).content.decode()
    assert PASSWORD not in str(dict(tablet.session))
    assert "signed in in full" in again


def test_a_full_sign_in_at_a_tablet_is_still_within_its_site(bar: Bar, cast: Cast) -> None:
    tablet = a_tablet(cast)
    tablet.post("/account/login/", {"login": cast.owner.email, "password": PASSWORD})
    assert tablet.get("/people/").status_code == 200
    assert tablet.get(f"/sites/{cast.site.pk}/").status_code == 200
    assert tablet.get(f"/sites/{cast.other_site.pk}/").status_code == 404
    page = tablet.get("/policy/")
    assert page.status_code == 403
    assert "use a browser of your own" in page.content.decode()


def test_the_second_factor_is_asked_for_there_too(cast: Cast) -> None:
    tablet = at_work(cast, "head_roaster")
    TOTP.activate(cast.head_roaster, generate_totp_secret())
    on = tablet.post("/tablet/full/", {"next": "/recipes/"})["Location"]
    answer = tablet.post(on, {"login": cast.head_roaster.email, "password": PASSWORD})
    assert answer["Location"].startswith("/account/second-factor/authenticate/")
    assert "_auth_user_id" not in tablet.session


OWN = [
    "/account/password/change/",
    "/account/second-factor/app/activate/",
    "/account/second-factor/passkeys/add/",
    "/account/second-factor/codes/generate/",
    "/account/disconnect/",
    "/account/pin/",
    "/account/pin/remove/",
]


@pytest.mark.parametrize("path", [*OWN, "/account/sessions/end-others/", "/account/tokens/"])
@pytest.mark.parametrize("confirmed", [True, False])
def test_ones_own_account_is_not_changed_by_a_pin(
    cast: Cast, path: str, *, confirmed: bool
) -> None:
    """Refused at once: nobody is asked to confirm what is refused afterwards."""
    tablet = at_work(cast)
    other = Client()
    other.post("/account/login/", {"login": cast.barista.email, "password": PASSWORD})
    if confirmed:
        said = tablet.session
        said["account_authentication_methods"] = [
            {"method": "password", "at": time.time(), "reauthenticated": True}
        ]
        said["account_authentication_methods_user"] = str(cast.barista.pk)
        said.save()
    before = Entry.objects.exclude(operation="refused").latest("id").pk
    sent = {"oldpassword": PASSWORD, "password1": "a new horse 9 x", "password2": "a new horse 9 x"}
    answer = tablet.post(path, {**sent, "pin": "8350", "pin_again": "8350", "name": "x"})
    assert answer.status_code == 403, answer.headers
    assert "A PIN is not enough" in answer.content.decode()
    assert Entry.objects.filter(operation="refused").latest("id").actor == "Barista"
    assert not Entry.objects.exclude(operation="refused").filter(pk__gt=before).exists()
    assert SignIn.objects.live().filter(user=cast.barista).count() == 2


@pytest.mark.parametrize(
    "path",
    [
        "/account/pin/",
        "/account/tokens/",
        "/account/second-factor/codes/",
        "/account/second-factor/codes/download/",
        "/account/reauthenticate/",
        "/account/second-factor/reauthenticate/",
        "/account/second-factor/passkeys/reauthenticate/",
    ],
)
def test_no_form_is_shown_that_a_pin_could_not_send(cast: Cast, path: str) -> None:
    tablet = at_work(cast)
    TOTP.activate(cast.barista, generate_totp_secret())
    answer = tablet.get(path)
    assert answer.status_code == 403, answer.headers
    assert "A PIN is not enough" in answer.content.decode()


def test_a_shared_tablet_is_told_nothing_that_is_one_persons(
    cast: Cast, rf: RequestFactory
) -> None:
    request = rf.post("/")
    vars(request)[TABLET] = 1
    with pytest.raises(Refused, match="that people share"):
        add_device(
            by=cast.barista, request=request, endpoint="https://push.example/1",
            p256dh="", auth="", made_for="",
        )  # fmt: skip
    with standing(by_pin(cast.barista, cast)), pytest.raises(PinNotEnough):
        set_choices(by=cast.barista, seen={}, chosen={}, hour=7, weekday=1)


def test_nobody_confirms_at_a_tablet_whom_a_pin_vouches_for(cast: Cast) -> None:
    """A password typed at a tablet makes no other session of it: the full sign-in is the way."""
    tablet = at_work(cast)
    answer = tablet.post("/account/reauthenticate/", {"password": PASSWORD})
    assert answer.status_code == 403
    assert "A PIN is not enough" in answer.content.decode()
    assert not tablet.session.get("account_authentication_methods")


def test_the_api_says_the_same(bar: Bar, cast: Cast) -> None:
    tablet = at_work(cast, "shop_lead")
    stations = tablet.get("/api/v1/slots/").json()["results"]
    assert stations
    made = tablet.post(
        "/api/v1/tokens/",
        {"name": "x", "scopes": ["read"]},
        content_type="application/json",
        headers={"Idempotency-Key": "0123456789abcdef"},
    )
    assert made.status_code == 403


def test_nobody_at_the_tablet_is_led_to_the_choice(cast: Cast) -> None:
    tablet = a_tablet(cast)
    assert tablet.get("/board/")["Location"] == f"{CHOICE}?next=/board/"
    person = with_pin(cast)
    answer = tablet.post(
        f"/tablet/people/{person.pk}/", {"pin": PINS["barista"], "next": "/board/"}
    )
    assert answer["Location"] == "/board/"
    tablet.post("/tablet/leave/")
    away = tablet.post(
        f"/tablet/people/{person.pk}/", {"pin": PINS["barista"], "next": "//evil.example/"}
    )
    assert away["Location"] == "/"
    tablet.post("/tablet/leave/")
    nowhere = tablet.post(
        f"/tablet/people/{person.pk}/", {"pin": PINS["barista"], "next": "nowhere"}
    )
    assert nowhere["Location"] == "/"
    assert taken_over(tablet, person, "1111") == 400
