"""Enrolling: once, by lead or owner, with a code of ten minutes; listed, renamed, revoked."""

import datetime

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import UNSHOWN, Invalid, NotFound, NotPermitted, Stale
from people.sign_in.models import End, SignIn
from people.tablets.actions import add_tablet, enrol, new_code, rename_tablet, revoke_tablet
from people.tablets.models import Tablet
from tests.cast import Cast, SignedIn
from tests.people.tablets.bench import CHOICE, ENROL, a_tablet, at_work, row_of, whose

pytestmark = pytest.mark.django_db


def test_a_lead_makes_a_code_and_the_tablet_holds_a_key(cast: Cast, signed_in: SignedIn) -> None:
    lead = signed_in(cast.shop_lead)
    page = lead.post(f"/sites/{cast.site.pk}/tablets/", {"name": "Counter left"})
    code = page.context["code"]
    assert code in page.content.decode()
    assert code not in lead.get(f"/sites/{cast.site.pk}/tablets/").content.decode()
    tablet = Client()
    assert tablet.get(CHOICE).templates[0].name == "people/tablets/none.html"
    answer = tablet.post(ENROL, {"code": code.upper()})
    assert answer.status_code == 302
    cookie = answer.cookies["tablet"]
    assert (cookie["httponly"], cookie["samesite"], cookie["path"]) == (True, "Lax", "/")
    stored = row_of()
    assert cookie.value not in str(Tablet.objects.values())
    assert (stored.site, stored.made_by) == (cast.site, cast.shop_lead)
    assert (stored.state, stored.code_digest) == ("enrolled", None)
    assert "Who are you?" in tablet.get(CHOICE).content.decode()
    listed = lead.get(f"/sites/{cast.site.pk}/tablets/").content.decode()
    assert "Counter left" in listed
    assert "Enrolled" in listed
    written = str(list(Entry.objects.values()))
    assert cookie.value not in written
    assert code.replace(" ", "") not in written
    actions = set(Entry.objects.values_list("action", flat=True))
    assert {"tablet.added", "tablet.enrolled"} <= actions


def test_a_replayed_code_enrols_nothing(cast: Cast) -> None:
    code = add_tablet(by=cast.shop_lead, site_id=cast.site.pk, name="One")[1]
    first, second = Client(), Client()
    assert first.post(ENROL, {"code": code}).status_code == 302
    answer = second.post(ENROL, {"code": code})
    assert answer.status_code == 400
    assert "tablet" not in answer.cookies
    assert code not in answer.content.decode().replace(f'value="{code}"', "")
    refused = Entry.objects.get(action="sign_in.refused")
    assert "code that does not fit" in refused.reason


def test_a_code_ends_after_ten_minutes_and_with_the_next(cast: Cast) -> None:
    tablet, code = add_tablet(by=cast.shop_lead, site_id=cast.site.pk, name="One")
    newer = new_code(by=cast.shop_lead, tablet=tablet, revision=tablet.revision)
    with pytest.raises(Invalid) as told:
        enrol(by=None, code=code)
    assert (told.value.field, told.value.value) == ("code", UNSHOWN)
    Tablet.objects.update(code_until=timezone.now() - datetime.timedelta(seconds=1))
    with pytest.raises(Invalid):
        enrol(by=None, code=newer)
    assert row_of("One").state == "code expired"


def test_who_may(cast: Cast, signed_in: SignedIn) -> None:
    for person in (cast.barista, cast.technician, cast.head_roaster, cast.other_lead):
        with pytest.raises(NotPermitted):
            add_tablet(by=person, site_id=cast.site.pk, name="One")
    add_tablet(by=cast.owner, site_id=cast.site.pk, name="One")
    assert signed_in(cast.other_lead).get(f"/sites/{cast.site.pk}/tablets/").status_code == 404
    assert signed_in(cast.barista).get(f"/sites/{cast.site.pk}/tablets/").status_code == 403


def test_only_who_confirmed_lately_enrols(cast: Cast, signed_in: SignedIn) -> None:
    lead = signed_in(cast.shop_lead)
    stale = lead.session
    stale["account_authentication_methods"] = []
    stale.save()
    answer = lead.post(f"/sites/{cast.site.pk}/tablets/", {"name": "One"})
    assert answer["Location"].startswith("/account/reauthenticate/")
    assert not Tablet.objects.exists()


def test_whoever_enrolled_it_is_not_left_signed_in_there(cast: Cast, signed_in: SignedIn) -> None:
    code = add_tablet(by=cast.shop_lead, site_id=cast.site.pk, name="One")[1]
    tablet = signed_in(cast.shop_lead)
    tablet.post(ENROL, {"code": code})
    assert whose(tablet) is None
    assert Entry.objects.filter(action="tablet.enrolled").latest("id").actor == "Shop lead"


def test_renaming_and_names(cast: Cast) -> None:
    a_tablet(cast, "One")
    a_tablet(cast, "Two")
    one = row_of("One")
    with pytest.raises(Invalid):
        rename_tablet(by=cast.shop_lead, tablet=one, revision=one.revision, name="two")
    with pytest.raises(Stale):
        rename_tablet(by=cast.shop_lead, tablet=one, revision=99, name="Three")
    with pytest.raises(NotPermitted):
        rename_tablet(by=cast.other_lead, tablet=one, revision=one.revision, name="Three")
    rename_tablet(by=cast.shop_lead, tablet=one, revision=one.revision, name="Three")
    assert Entry.objects.latest("id").changes == {"name": ["One", "Three"]}


def test_revoking_ends_what_is_open_on_it(cast: Cast) -> None:
    tablet = at_work(cast)
    stored = row_of()
    assert revoke_tablet(by=cast.shop_lead, tablet=stored, revision=stored.revision) == 1
    assert tablet.get("/board/").status_code == 302
    assert "Not an enrolled tablet" in tablet.get(CHOICE).content.decode()
    assert SignIn.objects.get(user=cast.barista).end == End.TABLET
    with pytest.raises(NotFound):
        revoke_tablet(by=cast.owner, tablet=stored, revision=stored.revision)


def test_codes_are_not_guessed_at_leisure(cast: Cast) -> None:
    guesser = Client(REMOTE_ADDR="203.0.113.50")
    add_tablet(by=cast.shop_lead, site_id=cast.site.pk, name="One")
    tries = [guesser.post(ENROL, {"code": f"bcdf{n:04}"}) for n in range(12)]
    assert (tries[9].status_code, tries[11].status_code) == (400, 409)
    assert "wait a minute" not in tries[9].content.decode()
    assert "Too many codes were tried: wait a minute." in tries[11].content.decode()
    assert "nothing was given" not in tries[11].content.decode().lower()


def test_its_page_offers_another_code_until_it_is_enrolled(cast: Cast, signed_in: SignedIn) -> None:
    tablet, code = add_tablet(by=cast.owner, site_id=cast.site.pk, name="One")
    lead, path = signed_in(cast.shop_lead), f"/tablets/{tablet.pk}/"
    another, revoke = f'action="{path}code/"', f'action="{path}revoke/"'
    page = lead.get(reverse("people:tablet_edit", args=[tablet.pk])).content.decode()
    assert (another in page, revoke in page) == (True, True)
    enrol(by=None, code=code)
    page = lead.get(reverse("people:tablet_edit", args=[tablet.pk])).content.decode()
    assert (another in page, revoke in page) == (False, True)
