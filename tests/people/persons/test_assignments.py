"""Giving and taking roles; the last owner stays."""

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotFound, NotPermitted, Refused
from people.persons.actions import assign_role, create_person, remove_assignment
from people.persons.models import Assignment
from people.persons.permissions import may
from people.persons.verbs import Role, Verb
from people.sign_in.actions import deactivate_person
from tests.cast import Cast


def test_a_role_counts_from_the_moment_it_is_given(cast: Cast) -> None:
    assert not may(cast.barista, Verb.SLOT_READ_BACK, cast.site.pk)
    assign_role(by=cast.owner, person=cast.barista, role="shop_lead", site_id=cast.site.pk)
    assert may(cast.barista, Verb.SLOT_READ_BACK, cast.site.pk)
    assert not may(cast.barista, Verb.SLOT_READ_BACK, cast.other_site.pk)


def test_and_until_it_is_taken_away(cast: Cast) -> None:
    held = Assignment.objects.get(user=cast.shop_lead)
    remove_assignment(by=cast.owner, assignment=held)
    assert not may(held.user, Verb.SLOT_READ_BACK)
    with pytest.raises(NotFound):
        remove_assignment(by=cast.owner, assignment=Assignment(pk=held.pk, user=cast.shop_lead))


def test_the_history_has_role_site_and_person(cast: Cast) -> None:
    given = assign_role(by=cast.owner, person=cast.barista, role="shop_lead", site_id=cast.site.pk)
    entry = Entry.objects.get(table_name="people_assignment", row_id=given.pk)
    assert (entry.action, entry.actor_id) == ("role.assigned", cast.owner.pk)
    assert (entry.subject_type, entry.subject_id) == ("person", cast.barista.pk)
    assert (entry.subject, entry.site_id) == ("Barista", cast.site.pk)
    assert entry.changes["role"] == [None, "shop_lead"]


def test_only_an_owner_gives_or_takes_roles(cast: Cast) -> None:
    for name, by in cast.everyone().items():
        if name == "owner":
            continue
        with pytest.raises(NotPermitted):
            assign_role(by=by, person=cast.barista, role="owner")
        with pytest.raises(NotPermitted):
            remove_assignment(by=by, assignment=Assignment.objects.get(user=cast.technician))


def test_an_owner_of_one_site_gives_roles_there_only(cast: Cast) -> None:
    assign_role(by=None, person=cast.other_lead, role="owner", site_id=cast.other_site.pk)
    by, person = cast.other_lead, cast.barista
    assert assign_role(by=by, person=person, role="barista", site_id=cast.other_site.pk).pk
    with pytest.raises(NotPermitted):
        assign_role(by=by, person=person, role="shop_lead", site_id=cast.site.pk)
    with pytest.raises(NotPermitted):
        assign_role(by=by, person=person, role="shop_lead")


@pytest.mark.parametrize(
    ("field", "role", "site_id"), [("role", "king", None), ("site", "barista", 999_999)]
)
def test_unknown_roles_and_sites_are_named(
    cast: Cast, field: str, role: str, site_id: int | None
) -> None:
    with pytest.raises(Invalid) as refused:
        assign_role(by=cast.owner, person=cast.barista, role=role, site_id=site_id)
    assert refused.value.field == field


@pytest.mark.parametrize("everywhere", [True, False])
def test_the_same_role_is_given_once(cast: Cast, everywhere: bool) -> None:
    site_id = None if everywhere else cast.other_site.pk
    assign_role(by=cast.owner, person=cast.barista, role="barista", site_id=site_id)
    with pytest.raises(Invalid, match="does not have there yet"):
        assign_role(by=cast.owner, person=cast.barista, role="barista", site_id=site_id)


def test_the_last_owner_keeps_the_role(cast: Cast) -> None:
    own = Assignment.objects.get(user=cast.owner)
    with pytest.raises(Refused, match="no owner"):
        remove_assignment(by=cast.owner, assignment=own)
    assert Assignment.objects.filter(pk=own.pk).exists()


def test_an_owner_who_may_not_sign_in_does_not_count(cast: Cast) -> None:
    second = create_person(by=cast.owner, email="second@example.com", name="Second owner")
    assign_role(by=cast.owner, person=second, role=Role.OWNER)
    deactivate_person(by=cast.owner, person=second, revision=1)
    with pytest.raises(Refused, match="no owner"):
        remove_assignment(by=cast.owner, assignment=Assignment.objects.get(user=cast.owner))
