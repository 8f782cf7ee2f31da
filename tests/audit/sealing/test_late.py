"""Writers that commit late, roll back or write without end: nobody is skipped, none waited for."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.db import connection, connections
from django.db.backends.base.base import BaseDatabaseWrapper

from audit.capture.models import Entry
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.stamp import Through
from audit.sealing.memory import state_file
from audit.sealing.models import SealingEvent, SealingEventKind
from audit.sealing.seal import _seal_batch, seal
from tests.audit.sample import empty
from tests.audit.sealed import ALL, newest_stamp, sealed_ids, shelves, signed_anew, unguarded

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("sample_tables")]


@pytest.fixture(autouse=True)
def key_made(sample_tables: None, db: None, transactional_db: None, key_file: Path) -> None:
    """The key's own entry is in and sealed; the tests count from there, migrations left out."""
    unguarded(f"TRUNCATE {ALL}")
    shelves(1)
    while seal():
        pass


WRITE = "INSERT INTO sample_shelf (name, site_id) VALUES (%s, 3)"


@contextmanager
def another() -> Iterator[BaseDatabaseWrapper]:
    """A second connection with a transaction of its own."""
    made = connections["default"].copy()
    try:
        made.set_autocommit(False)
        yield made
    finally:
        made.close()


def write(on: BaseDatabaseWrapper, name: str) -> None:
    with on.cursor() as cursor:
        cursor.execute(WRITE, [name])


def named(name: str) -> int:
    return Entry.objects.get(subject=name).pk


def test_what_commits_late_is_sealed_late() -> None:
    with another() as slow:
        write(slow, "slow")  # the lower id and the lower transaction
        shelves(5)
        assert seal() == 5  # the others are not held up
        slow.commit()
        assert seal() == 1
        assert sealed_ids()[-1] == named("slow")
        assert named("slow") < min(sealed_ids()[-6:-1])
    empty()


def test_one_that_starts_early_and_writes_late() -> None:
    with another() as slow:
        write(slow, "first")
        for _ in range(4):  # the floor may rise only to below it
            shelves(2)
            seal()
        write(slow, "second")
        slow.commit()
        shelves(1)
        seal()
    assert sorted(sealed_ids()) == sorted(Entry.objects.values_list("pk", flat=True))
    empty()


def test_what_is_rolled_back_leaves_a_hole_in_the_ids_only() -> None:
    with another() as undone:
        write(undone, "undone")
        shelves(1)
        undone.rollback()
    seal()
    assert sorted(sealed_ids()) == sorted(Entry.objects.values_list("pk", flat=True))
    empty()


def test_batches_with_a_writer_under_way() -> None:
    with another() as slow:
        write(slow, "slow")
        shelves(37)
        assert seal(batch=5) == 37
        slow.commit()
    assert seal(batch=5) == 1
    assert len(set(sealed_ids())) == 40
    empty()


def test_one_that_commits_behind_a_walk_under_way() -> None:
    with another() as slow:
        write(slow, "slow")
        shelves(12)
        done, walk = _seal_batch(5, None, beneath=False)
        slow.commit()  # the walk is past it already
        while walk:
            more, walk = _seal_batch(5, walk, beneath=False)
            done += more
    assert done == 12
    assert seal() == 1
    assert sealed_ids()[-1] == named("slow")
    empty()


@pytest.mark.parametrize("entries", [3, 12])
def test_after_a_restore_where_transactions_count_from_the_start(entries: int) -> None:
    shelves(4)
    seal()
    # As after a restore: what was reached lies far above every transaction to come.
    was = newest_stamp()
    through = Through(newest_stamp().time, was.floor[0] + 1_000_001)
    signed_anew(floor=(was.floor[0] + 1_000_000, was.floor[1]), through=through)
    shelves(entries)
    assert seal(batch=5) == entries
    assert newest_stamp().restored
    assert newest_stamp().marked == 0
    shelves(2)
    assert seal() == 2 + 1  # with the event that says so
    assert not newest_stamp().restored
    assert SealingEvent.objects.get().kind == SealingEventKind.RESTORED
    assert verify(bundle()).intact
    assert sorted(sealed_ids()) == sorted(Entry.objects.values_list("pk", flat=True))
    empty()


def test_what_came_to_lie_beneath_is_found_by_looking_everywhere() -> None:
    shelves(2)
    seal()
    unguarded("UPDATE audit_entry SET txid = 3 WHERE subject = 'S1'")
    unguarded("DELETE FROM audit_checkpoint")
    unguarded("TRUNCATE audit_leaf, audit_node")
    state_file().unlink()  # or the signer would not begin again
    shelves(1)
    assert seal(beneath=True) == 5
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO audit_entry (operation, changes) VALUES ('refused', '{}') RETURNING id"
        )
        (forged,) = cursor.fetchone()
    unguarded("UPDATE audit_entry SET txid = 3 WHERE id = %s", forged)
    assert seal() == 0
    assert seal(beneath=True) == 1
    assert newest_stamp().marks(sealed_ids().index(forged))
    empty()
