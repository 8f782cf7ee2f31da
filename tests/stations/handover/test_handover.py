"""Hand-over notes: left for a site, seen by everybody there until read back, never changed."""

from datetime import timedelta

import pytest
from django.db import OperationalError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted
from people.persons.models import User
from people.persons.standing import Standing, standing
from stations.equipment.models import Site
from stations.handover.actions import leave_note, read_until
from stations.handover.models import MOST_TEXT, HandoverNote, HandoverRead
from stations.today.day import NOTES, day_of
from tests.attacks import refused, sql
from tests.calling import ROOT, act
from tests.cast import ApiAs, Cast, SignedIn
from tests.races import at_once


def unread(user: User) -> list[str]:
    return [note.text for note in HandoverNote.objects.covered_by(user).unread_by(user)]


def test_everybody_of_the_site_sees_it_until_they_read_it_back(cast: Cast) -> None:
    note = leave_note(by=cast.barista, site=cast.site, text="Left grinder sticks.\nGo gently.")
    for person in (cast.shop_lead, cast.technician, cast.owner):
        assert unread(person) == [note.text]
    assert unread(cast.barista) == []  # their own
    assert unread(cast.other_lead) == []  # another site's
    read_until(by=cast.shop_lead, site=cast.site, until=note.pk)
    assert unread(cast.shop_lead) == []
    assert unread(cast.technician) == [note.text]
    again = read_until(by=cast.shop_lead, site=cast.site, until=note.pk)
    assert HandoverRead.objects.get() == again
    entries = Entry.objects.filter(action__startswith="handover.").order_by("id")
    assert [(e.action, e.actor, e.site_id) for e in entries] == [
        ("handover.left", cast.barista.name, cast.site.pk),
        ("handover.read", cast.shop_lead.name, cast.site.pk),
    ]


def test_a_further_note_takes_its_place_and_is_unread_again(cast: Cast) -> None:
    first = leave_note(by=cast.barista, site=cast.site, text="Milk is low")
    read_until(by=cast.shop_lead, site=cast.site, until=first.pk)
    leave_note(by=cast.barista, site=cast.site, text="Milk is in", edits=first.pk)
    assert unread(cast.shop_lead) == unread(cast.technician) == ["Milk is in"]
    assert HandoverNote.objects.count() == 2
    with pytest.raises(Invalid, match="edits"):
        leave_note(by=cast.barista, site=cast.site, text="Again", edits=first.pk)


def test_who_is_there_by_a_pin_alone_is_shown_them(cast: Cast) -> None:
    """A shared tablet is where one shift leaves a note to the next."""
    note = leave_note(by=cast.barista, site=cast.site, text="Milk is low")
    (day,) = day_of(cast.shop_lead).sites
    assert (day.notes, day.hands_over) == ([note], True)
    with standing(Standing(cast.shop_lead.pk, cast.site.pk, by_pin=True)):
        (day,) = day_of(cast.shop_lead).sites
    assert (day.notes, day.hands_over) == ([note], True)


@pytest.mark.django_db(transaction=True)
def test_none_appears_below_one_that_was_read(cast: Cast) -> None:
    """A note on its way holds the site: another gets its number only once that one is there."""
    with transaction.atomic():
        leave_note(by=cast.barista, site=cast.site, text="Milk is low")
        (told,) = at_once([lambda: held(cast.site)])
    assert isinstance(told, OperationalError)
    assert at_once([lambda: held(cast.site)]) == [cast.site]


def held(site: Site) -> Site:
    """What leaving a note waits for; here nobody waits."""
    with transaction.atomic():
        return Site.objects.select_for_update(no_key=True, nowait=True).get(pk=site.pk)


def test_nobody_edits_another_s_or_leaves_one_elsewhere(cast: Cast) -> None:
    note = leave_note(by=cast.barista, site=cast.site, text="Milk is low")
    with pytest.raises(NotPermitted, match="Only the person"):
        leave_note(by=cast.shop_lead, site=cast.site, text="No", edits=note.pk)
    with pytest.raises(NotPermitted):
        leave_note(by=cast.other_lead, site=cast.site, text="Hello")
    with pytest.raises(NotPermitted):
        read_until(by=cast.other_lead, site=cast.site, until=note.pk)
    with pytest.raises(Invalid, match="until"):
        read_until(by=cast.other_lead, site=cast.other_site, until=note.pk)
    with pytest.raises(Invalid, match="edits"):
        leave_note(by=cast.technician, site=cast.other_site, text="No", edits=note.pk)


@pytest.mark.parametrize("text", ["", "  \n ", "x" * (MOST_TEXT + 1), "to\u202eleft", "nul\0"])
def test_what_a_note_may_not_be(cast: Cast, text: str) -> None:
    with pytest.raises(Invalid, match="text"):
        leave_note(by=cast.barista, site=cast.site, text=text)


@pytest.mark.parametrize(
    ("attempt", "match"),
    [
        ("UPDATE stations_handovernote SET text = 'x'", "never changed"),
        ("DELETE FROM stations_handovernote", "never changed"),
        ("UPDATE stations_handoverread SET at = now()", "never changed"),
        ("DELETE FROM stations_handoverread", "never changed"),
        ("INSERT INTO stations_handovernote (site_id, by_id, text) SELECT site_id, by_id, ' '"
         " FROM stations_handovernote LIMIT 1", "handover_note_says_something"),
        ("INSERT INTO stations_handovernote (site_id, by_id, text, edits_id) SELECT n.site_id,"
         " u.id, 'x', n.id FROM stations_handovernote n, people_user u"
         " WHERE u.id <> n.by_id LIMIT 1",
         "takes the place of an own one"),
        ("INSERT INTO stations_handoverread (site_id, by_id, until_id) SELECT s.id, n.by_id, n.id"
         " FROM stations_handovernote n, stations_site s WHERE s.id <> n.site_id LIMIT 1",
         "is a note of that site"),
    ],
)  # fmt: skip
def test_the_database_keeps_to_it(cast: Cast, attempt: str, match: str) -> None:
    note = leave_note(by=cast.barista, site=cast.site, text="Milk is low")
    read_until(by=cast.shop_lead, site=cast.site, until=note.pk)
    refused(sql(attempt), match)


def test_the_pages(cast: Cast, signed_in: SignedIn) -> None:
    address = reverse("stations:handover", args=[cast.site.pk])
    browser = signed_in(cast.barista)
    assert browser.post(address, {"text": "Grinder sticks"}).status_code == 302
    note = HandoverNote.objects.get()
    assert f"?edits={note.pk}" in browser.get(address).content.decode()
    assert "Grinder sticks" not in browser.get("/").content.decode()
    lead = signed_in(cast.shop_lead)
    assert "Grinder sticks" in lead.get("/").content.decode()
    read = reverse("stations:handover_read", args=[cast.site.pk])
    assert lead.post(f"{read}?to=home", {"until": note.pk})["Location"] == "/"
    assert "Grinder sticks" not in lead.get("/").content.decode()
    assert "Read back by Shop lead" in lead.get(address).content.decode()
    assert lead.post(address, {"text": "Mine", "edits": note.pk}).status_code == 403


def test_the_endpoints(cast: Cast, api_as: ApiAs) -> None:
    address = f"sites/{cast.site.code}/notes/"
    made = act(api_as(cast.barista), address, {"text": "Milk"})
    assert made.status_code == 201, made.content
    api = api_as(cast.shop_lead)
    assert [one["text"] for one in api.get(f"{ROOT}/{address}").json()["results"]] == ["Milk"]
    assert act(api, f"{address}read/", {"until": made.json()["id"]}).status_code == 200
    assert unread(cast.shop_lead) == []


def test_many_cost_no_more_and_the_oldest_come_first(cast: Cast) -> None:
    def asked() -> int:
        user = User.objects.get(pk=cast.shop_lead.pk)
        with CaptureQueriesContext(connection) as queries:
            day_of(user)
        return len(queries)

    leave_note(by=cast.barista, site=cast.site, text="0")
    few = asked()
    for number in range(1, NOTES + 3):
        leave_note(by=cast.barista, site=cast.site, text=str(number))
    assert asked() == few
    [day] = day_of(cast.shop_lead).sites
    assert [note.text for note in day.first_notes] == [str(n) for n in range(NOTES)]
    assert day.later_notes == 3
    old = HandoverNote(
        site=cast.site, by=cast.technician, text="Old", at=timezone.now() - timedelta(days=20)
    )
    old.save()
    assert "Old" not in unread(cast.barista)
