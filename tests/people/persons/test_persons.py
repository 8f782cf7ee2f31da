"""Adding, changing and ending people."""

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from people.persons.actions import change_person, create_person
from people.persons.models import User
from people.sign_in.actions import deactivate_person, reactivate_person
from people.tokens.actions import make_token
from people.tokens.models import ApiToken, Scope
from tests.cast import Cast, SignedIn


def test_an_owner_adds_a_person_without_a_password(cast: Cast) -> None:
    person = create_person(by=cast.owner, email=" New@Example.com ", name="  New   barista ")
    assert (person.email, person.name) == ("new@example.com", "New barista")
    assert not person.has_usable_password()


def test_the_first_owner_is_added_on_the_console(cast: Cast) -> None:
    person = create_person(by=None, email="first@example.com", name="First")
    entry = Entry.objects.get(table_name="people_user", row_id=person.pk)
    assert (entry.actor, entry.action) == ("program", "person.added")


@pytest.mark.parametrize("who", ["head_roaster", "shop_lead", "barista", "technician"])
def test_nobody_else_adds_changes_or_ends_people(cast: Cast, who: str) -> None:
    by, person = cast.everyone()[who], cast.other_lead
    with pytest.raises(NotPermitted):
        create_person(by=by, email="new@example.com", name="New")
    with pytest.raises(NotPermitted):
        change_person(by=by, person=person, email="x@example.com", name="X", revision=1)
    with pytest.raises(NotPermitted):
        deactivate_person(by=by, person=person, revision=1)
    with pytest.raises(NotPermitted):
        reactivate_person(by=by, person=person, revision=1)
    assert User.objects.count() == 7


@pytest.mark.parametrize(
    ("field", "email", "name"),
    [
        ("email", "no address", "New"),
        ("email", "", "New"),
        ("email", f"{'x' * 250}@example.com", "New"),
        ("email", "OWNER@example.com", "New"),
        ("email", "new@x\ua7da.example", "New"),  # a capital letter, says the database alone
        ("name", "new@example.com", "  "),
        ("name", "new@example.com", "x" * 81),
        ("name", "new@example.com", "bad\x07bell"),
    ],
)
def test_bad_values_are_named(cast: Cast, field: str, email: str, name: str) -> None:
    with pytest.raises(Invalid) as refused:
        create_person(by=cast.owner, email=email, name=name)
    assert refused.value.field == field
    assert refused.value.allowed


def test_an_edit_from_an_older_revision_is_refused(cast: Cast) -> None:
    lead = cast.shop_lead
    change_person(by=cast.owner, person=lead, email=lead.email, name="One", revision=1)
    with pytest.raises(Stale) as stale:
        change_person(by=cast.owner, person=lead, email=lead.email, name="Two", revision=1)
    assert stale.value.current_revision == 2
    lead.refresh_from_db()
    assert lead.name == "One"


def test_ending_sign_in_ends_sessions_and_tokens(cast: Cast, signed_in: SignedIn) -> None:
    make_token(by=cast.barista, name="t", scopes=[Scope.READ], days=1)
    browser = signed_in(cast.barista)
    deactivate_person(by=cast.owner, person=cast.barista, revision=1)
    assert not ApiToken.objects.usable().exists()
    answer = browser.get("/account/tokens/")
    assert answer.status_code == 302
    assert "/account/login/" in answer["Location"]
    reactivate_person(by=cast.owner, person=cast.barista, revision=2)
    assert not ApiToken.objects.usable().exists()


def test_a_session_left_open_does_not_come_back(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.barista)
    deactivate_person(by=cast.owner, person=cast.barista, revision=1)
    reactivate_person(by=cast.owner, person=cast.barista, revision=2)
    assert browser.get("/account/tokens/").status_code == 302
    assert signed_in(cast.barista).get("/account/tokens/").status_code == 200


def test_nobody_ends_their_own_sign_in(cast: Cast) -> None:
    with pytest.raises(Refused, match="another owner"):
        deactivate_person(by=cast.owner, person=cast.owner, revision=1)


def test_the_history_names_who_did_it_and_never_the_hash(cast: Cast) -> None:
    person = create_person(by=cast.owner, email="new@example.com", name="New")
    change_person(by=cast.owner, person=person, email="new@example.com", name="Newer", revision=1)
    added, changed = Entry.objects.filter(table_name="people_user", row_id=person.pk).order_by("id")
    assert (added.action, added.actor, added.role) == ("person.added", "Owner", "owner")
    assert "password" not in added.changes
    assert (changed.action, changed.changes) == ("person.changed", {"name": ["New", "Newer"]})
    assert changed.subject_type == "person"
