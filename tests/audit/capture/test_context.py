"""Who, through which channel and why: told once a transaction, and forgotten with it."""

import threading
from collections.abc import Iterator
from contextvars import copy_context

import pytest
from django.db import connection, connections, transaction

from audit.capture.context import Channel, RequestContext, recorded, request_context
from audit.vocabulary import UnknownAction
from tests.audit.conftest import FILLED, SORTED, Person, newest, since
from tests.audit.sample import Shelf, empty

HERE = RequestContext(channel=Channel.API, request_id="abc-1", client_addr="2001:db8::1")


@pytest.fixture(autouse=True)
def _around() -> Iterator[None]:
    token = request_context.set(HERE)
    yield
    request_context.reset(token)


def told() -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT coalesce(current_setting('audit.context', true), '')")
        return str(cursor.fetchone()[0])


@pytest.mark.django_db
def test_an_entry_says_who_how_and_why(shelf: Shelf, person: Person) -> None:
    mark = newest()
    with recorded(by=person, action=SORTED, reason="New order", signature_id=4, site_id=3):
        Shelf.objects.update(name="Low")
    (entry,) = since(mark)
    assert (entry.actor_id, entry.actor) == (7, "Head roaster")
    assert entry.role == "head roaster at 3"
    assert (entry.channel, entry.request_id, entry.client_addr) == ("api", "abc-1", "2001:db8::1")
    assert (entry.action, entry.reason, entry.signature_id) == (SORTED, "New order", 4)


@pytest.mark.django_db
def test_words_of_any_kind_pass_unharmed(shelf: Shelf, person: Person) -> None:
    reason = 'it\'s "odd"; DROP TABLE audit_entry; -- \\ \n é ☕ {"a": 1}'
    mark = newest()
    with recorded(by=person, action=SORTED, reason=reason):
        Shelf.objects.update(name="Low")
    assert since(mark)[0].reason == reason


@pytest.mark.django_db
def test_nested_keeps_the_person_and_gives_back_the_rest(shelf: Shelf, person: Person) -> None:
    mark = newest()
    with recorded(by=person, action=SORTED, reason="outer") as outer:
        with recorded(by=Person(8, "Other"), action=FILLED):
            Shelf.objects.update(name="1")
        Shelf.objects.update(name="2")
        outer.signed(11)
        with pytest.raises(ValueError, match="inner"), recorded(by=None, action=FILLED):
            raise ValueError("inner")
        Shelf.objects.update(name="3")
    inner, second, third = since(mark)
    assert (inner.actor, inner.action, inner.reason) == ("Head roaster", FILLED, "outer")
    assert (second.action, second.signature_id) == (SORTED, None)
    assert (third.action, third.signature_id) == (SORTED, 11)
    assert told() == ""


@pytest.mark.django_db
def test_the_program_itself_is_named(shelf: Shelf) -> None:
    mark = newest()
    with recorded(by=None, action=SORTED):
        Shelf.objects.update(name="Low")
    assert (since(mark)[0].actor, since(mark)[0].actor_id) == ("program", None)


@pytest.mark.django_db
def test_an_action_nobody_registered_is_an_error(person: Person) -> None:
    with (
        pytest.raises(UnknownAction, match=r"shelf\.broken"),
        recorded(by=person, action="shelf.broken"),
    ):
        pass


@pytest.mark.django_db(transaction=True)
def test_the_connection_forgets_at_the_end(sample_tables: None, person: Person) -> None:
    with recorded(by=person, action=SORTED):
        Shelf.objects.create(name="Top")
        assert told()
    assert told() == ""
    with pytest.raises(ValueError, match="stop"), recorded(by=person, action=SORTED):
        raise ValueError("stop")
    assert told() == ""
    with transaction.atomic():
        with recorded(by=person, action=SORTED):
            pass
        mark = newest()
        Shelf.objects.update(name="Low")  # in the same transaction, but no longer that action
        assert since(mark)[0].actor == "database"
    empty()


@pytest.mark.django_db(transaction=True)
def test_another_thread_is_not_inside_the_action(sample_tables: None, person: Person) -> None:
    """A copied context (asgiref copies it) must not make another connection's write anonymous."""
    mark, seen = newest(), []

    def elsewhere() -> None:
        with recorded(by=Person(8, "Other"), action=FILLED):
            Shelf.objects.create(name="theirs")
        seen.append(since(mark)[0].actor)
        connections.close_all()

    with recorded(by=person, action=SORTED):
        thread = threading.Thread(target=copy_context().run, args=[elsewhere])
        thread.start()
        thread.join()
    assert seen == ["Other"]
    empty()
