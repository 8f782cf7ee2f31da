"""A refusal undoes everything but its own entry."""

import pytest
from django.db import IntegrityError, transaction

from audit.capture.context import record_refusal, recorded
from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Subject
from tests.audit.conftest import FILLED, SORTED, Person, newest, since
from tests.audit.sample import Shelf, empty

SLOT = Subject("slot", 12, "Group 1, slot 2")


def attempt(person: Person, error: Exception) -> None:
    with recorded(by=person, action=SORTED, reason="please", subject=SLOT, site_id=3):
        Shelf.objects.create(name="never")
        raise error


def only_refusal(mark: int) -> Entry:
    (entry,) = since(mark)
    assert (entry.operation, entry.actor, entry.action) == ("refused", "Head roaster", SORTED)
    assert (entry.subject_type, entry.subject_id, entry.subject) == ("slot", 12, "Group 1, slot 2")
    assert (entry.site_id, entry.table_name, entry.row_id) == (3, "", None)
    return entry


@pytest.mark.django_db
def test_under_a_test_case(sample_tables: None, person: Person) -> None:
    mark = newest()
    tried = {"dose_mass": ("18.0", "19.0"), "site_id": (None, 3)}
    error = Refused("The slot is locked.", who_may="A head roaster", attempted=tried)
    with pytest.raises(Refused):
        attempt(person, error)
    entry = only_refusal(mark)
    assert error.entry_id == entry.pk
    assert entry.reason == "The slot is locked."
    assert entry.changes == {"dose_mass": ["18.0", "19.0"], "site_id": [None, 3]}
    assert not Shelf.objects.filter(name="never").exists()


@pytest.mark.django_db(transaction=True)
def test_in_autocommit(sample_tables: None, person: Person) -> None:
    mark = newest()
    with pytest.raises(NotPermitted):
        attempt(person, NotPermitted("Not you."))
    assert only_refusal(mark).reason == "Not you."
    assert not Shelf.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_inside_somebody_elses_transaction(sample_tables: None, person: Person) -> None:
    """The API keeps an answer and the action in one transaction: the refusal outlives it."""
    mark = newest()

    @transaction.atomic
    def theirs() -> None:
        Shelf.objects.create(name="theirs")
        attempt(person, Refused("No."))

    with pytest.raises(Refused):
        theirs()
    only_refusal(mark)
    assert not Shelf.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_caught_inside_somebody_elses_transaction(sample_tables: None, person: Person) -> None:
    mark = newest()
    with transaction.atomic():
        with pytest.raises(Refused):
            attempt(person, Refused("No."))
        Shelf.objects.create(name="theirs")
    refusal, theirs = since(mark)
    assert (refusal.operation, theirs.operation) == ("refused", "created")
    assert theirs.actor == "database"
    empty()


@pytest.mark.django_db
def test_only_what_leaves_the_outermost_is_a_refusal(sample_tables: None, person: Person) -> None:
    mark = newest()
    with recorded(by=person, action=SORTED):
        with pytest.raises(Refused), recorded(by=person, action=FILLED, subject=SLOT):
            raise Refused("This one not.")
        Shelf.objects.create(name="done")
    assert [(e.operation, e.action) for e in since(mark)] == [("created", SORTED)]
    outer = recorded(by=person, action=SORTED, subject=SLOT, site_id=3)
    with pytest.raises(Refused), outer, recorded(by=person, action=FILLED):
        raise Refused("None of it.")
    assert [e.reason for e in since(mark)[1:]] == ["None of it."]


@pytest.mark.django_db
def test_it_is_written_once(sample_tables: None, person: Person) -> None:
    mark, error = newest(), Refused("No.", subject=SLOT, site_id=3)
    with pytest.raises(Refused):
        attempt(person, error)
    record_refusal(error, by=person, action=SORTED)
    only_refusal(mark)


@pytest.mark.django_db
def test_other_errors_are_no_refusals(sample_tables: None, person: Person) -> None:
    mark = newest()
    with pytest.raises(Invalid):
        attempt(person, Invalid("dose_mass", "abc", "a number"))
    with pytest.raises(IntegrityError):
        attempt(person, IntegrityError("the database said no"))
    assert since(mark) == []


@pytest.mark.django_db
def test_a_refusal_elsewhere_is_written_by_hand(person: Person) -> None:
    mark = newest()
    error = NotPermitted("Not your site.")
    record_refusal(error, by=person, action=SORTED, subject=SLOT, site_id=3)
    assert only_refusal(mark).role == "head roaster at 3"
