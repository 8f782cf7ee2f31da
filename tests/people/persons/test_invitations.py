"""Links to set a password: whoever had one made for somebody stands in the history."""

import uuid

import pytest
from django.core import mail
from django.db import connection
from django.test import Client
from pytest_django import DjangoCaptureOnCommitCallbacks

from audit.capture.models import Entry
from audit.errors import NotPermitted, Refused
from people.persons.invitations import invite
from people.persons.models import User
from people.sign_in.actions import deactivate_person
from tests.cast import PASSWORD, Cast, InPerson, SignedIn


def _invited(by: User, person: User) -> str:
    return invite(by=by, person=person, absolute=lambda path: f"http://testserver{path}")


def test_the_history_says_who_had_one_made(
    cast: Cast, signed_in: SignedIn, api_in_person: InPerson
) -> None:
    for_roaster = f"/people/{cast.head_roaster.pk}/invitation/"
    assert signed_in(cast.owner).post(for_roaster).status_code == 302
    key = {"Idempotency-Key": uuid.uuid4().hex}
    assert api_in_person(cast.owner).post(f"/api/v1{for_roaster}", headers=key).status_code == 201
    made = Entry.objects.filter(action="person.invited").order_by("id")
    assert [(e.actor, e.channel, e.subject, list(e.changes)) for e in made] == [
        ("Owner", "page", "Head roaster", ["invited_at"]),
        ("Owner", "api", "Head roaster", ["invited_at"]),
    ]


def test_the_link_itself_is_not_in_the_history(cast: Cast) -> None:
    key = _invited(cast.owner, cast.barista).rstrip("/").rsplit("/", 1)[-1]
    with connection.cursor() as cursor:
        cursor.execute("SELECT e::text FROM audit_entry e")
        assert key not in str(cursor.fetchall())


def test_nobody_else_has_one_made_and_the_try_is_written_down(cast: Cast) -> None:
    with pytest.raises(NotPermitted):
        _invited(cast.head_roaster, cast.owner)
    entry = Entry.objects.get(operation="refused", action="person.invited")
    assert (entry.actor, entry.subject_id) == ("Head roaster", cast.owner.pk)


def test_somebody_whose_sign_in_was_ended_meanwhile_gets_none(cast: Cast) -> None:
    User.objects.filter(pk=cast.barista.pk).update(is_active=False)  # after the page was read
    with pytest.raises(Refused, match="may not sign in"):
        _invited(cast.owner, cast.barista)


def test_nothing_is_mailed_before_it_is_in_the_history(
    cast: Cast, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks() as waiting:
        link = _invited(cast.owner, cast.barista)
    assert mail.outbox == []
    for send in waiting:
        send()
    assert link in mail.outbox[0].body


def test_a_link_is_nothing_once_the_sign_in_was_ended(cast: Cast, client: Client) -> None:
    link = invite(by=cast.owner, person=cast.barista, absolute=lambda path: path)
    deactivate_person(by=cast.owner, person=cast.barista, revision=1)
    both = {"password1": "a fine long phrase", "password2": "a fine long phrase"}
    form = client.get(link, follow=True)
    client.post(form.redirect_chain[-1][0] if form.redirect_chain else link, both)
    cast.barista.refresh_from_db()
    assert cast.barista.check_password(PASSWORD)
    assert not Entry.objects.filter(action="person.password_set").exists()
