"""Entries are never changed, removed or made up, and nothing can forge the clock."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from audit.capture.context import Channel, RequestContext, recorded, request_context
from audit.capture.models import Entry
from tests.audit.conftest import SORTED, Person, newest, since
from tests.audit.sample import Jar, Note, Shelf, run

pytestmark = pytest.mark.django_db

FORGED = timezone.now() - timedelta(days=400)


def refused(attempt: Callable[[], object], words: str) -> None:
    with pytest.raises(IntegrityError, match=words), transaction.atomic():
        attempt()


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE audit_entry SET actor = 'nobody'",
        "DELETE FROM audit_entry",
        "TRUNCATE audit_entry",
        "TRUNCATE audit_entry CASCADE",
        "UPDATE sample_note SET text = 'other'",
        "DELETE FROM sample_note",
        "TRUNCATE sample_note",
        "TRUNCATE sample_jar",
        "TRUNCATE sample_shelf, sample_jar",
        "MERGE INTO audit_entry e USING (VALUES (1)) v(x) ON true WHEN MATCHED THEN DELETE",
    ],
)
def test_history_and_insert_only_rows_stay_as_they_are(shelf: Shelf, sql: str) -> None:
    Note.objects.create(text="kept")
    before = list(Entry.objects.values())
    refused(lambda: run(sql), "never changed or deleted|can't be emptied")
    assert list(Entry.objects.values()) == before


def test_through_the_orm_too(shelf: Shelf) -> None:
    entry = Entry.objects.latest("pk")
    entry.actor = "nobody"
    refused(entry.save, "never changed")
    refused(entry.delete, "never changed")
    refused(lambda: Entry.objects.update(reason=""), "never changed")
    refused(lambda: Entry.objects.all().delete(), "never changed")


@pytest.mark.parametrize("operation", ["created", "changed", "removed"])
def test_a_change_that_never_happened_can_not_be_written_down(operation: str) -> None:
    refused(lambda: Entry.objects.create(operation=operation), "by the capture")


def test_a_refusal_written_directly_is_stamped_by_the_database(person: Person) -> None:
    forged = {"actor": "Owner", "actor_id": 1, "channel": "page", "role": "owner", "txid": 5}
    forged |= {"at": FORGED, "db_role": "someone", "signature_id": 9, "action": SORTED}
    entry = Entry.objects.create(operation="refused", reason="no", **forged)
    entry.refresh_from_db()
    assert (entry.actor, entry.actor_id, entry.channel) == ("database", None, "database")
    assert (entry.action, entry.signature_id, entry.reason) == ("database.changed", None, "no")
    assert abs(entry.at - timezone.now()) < timedelta(minutes=1)
    assert entry.db_role != "someone"
    assert entry.txid != 5


def test_a_trigger_of_ones_own_can_not_date_back(shelf: Shelf) -> None:
    """Deeper than a direct write, where the capture itself writes."""
    run("CREATE TEMP TABLE bait (x int)")
    run(
        "CREATE FUNCTION pg_temp.forge() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN INSERT INTO"
        " audit_entry (operation, changes, at, txid, db_role) VALUES"
        " ('changed', '{}', '2020-01-01', 5, 'someone'); RETURN NULL; END $$"
    )
    run("CREATE TRIGGER t AFTER INSERT ON bait EXECUTE FUNCTION pg_temp.forge()")
    mark = newest()
    run("INSERT INTO bait VALUES (1)")
    (entry,) = since(mark)
    assert abs(entry.at - timezone.now()) < timedelta(minutes=1)
    assert entry.db_role != "someone"
    assert entry.txid != 5


def test_an_id_can_not_be_chosen() -> None:
    with pytest.raises(Exception, match="cannot insert a non-DEFAULT value"), transaction.atomic():
        run("INSERT INTO audit_entry (id, operation) VALUES (1, 'refused')")
    mark = newest()
    columns = "(id, operation, changes)"
    run(f"INSERT INTO audit_entry {columns} OVERRIDING SYSTEM VALUE VALUES (-5, 'refused', '{{}}')")
    assert since(mark)[0].pk > mark
    assert not Entry.objects.filter(pk=-5).exists()


def test_a_primary_key_is_never_moved(shelf: Shelf) -> None:
    jar = Jar.objects.create(shelf=shelf, name="salt")
    refused(lambda: Jar.objects.filter(pk=jar.pk).update(id=jar.pk + 1000), "primary key")


def test_the_trigger_can_not_be_asked_to_look_away(shelf: Shelf) -> None:
    """django-pgtrigger's own door, which any session could open."""
    run("SELECT set_config('pgtrigger.ignore', array_agg(tgname)::text, true) FROM pg_trigger")
    mark = newest()
    Shelf.objects.update(name="Low")
    assert [e.changes for e in since(mark)] == [{"name": ["Top", "Low"]}]


def test_without_context_the_database_speaks_for_itself(shelf: Shelf) -> None:
    token = request_context.set(RequestContext(Channel.PAGE, "r1", "192.0.2.1"))
    mark = newest()
    Shelf.objects.update(name="Low")
    request_context.reset(token)
    (entry,) = since(mark)
    assert (entry.actor, entry.channel, entry.role) == ("database", "database", "")
    assert (entry.action, entry.request_id) == ("database.changed", "")
    with connection.cursor() as cursor:
        cursor.execute("SELECT session_user::text, host(inet_client_addr())")
        assert cursor.fetchone() == (entry.db_role, entry.client_addr)


def test_time_is_the_moment_of_the_write_not_of_the_transaction(
    shelf: Shelf, person: Person
) -> None:
    mark = newest()
    with recorded(by=person, action=SORTED):
        Shelf.objects.update(name="A")
        run("SELECT pg_sleep(0.05)")
        Shelf.objects.update(name="B")
    first, second = since(mark)
    assert second.at - first.at >= timedelta(seconds=0.05)
    assert first.txid == second.txid
