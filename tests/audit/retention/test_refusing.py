"""What can't be proven is not taken out: a clear sentence, and the history as it was."""

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import DatabaseError, transaction

from audit.capture.models import Entry
from audit.capture.partitions import partitions
from audit.ledger import files
from audit.retention.archive import LOCK, archive_before
from audit.retention.models import Archive
from audit.retention.plan import ArchiveError
from audit.sealing import store
from audit.sealing.seal import seal
from tests.audit.months import roll_at
from tests.audit.retention.test_archive import archive, folder, kept
from tests.audit.sample import run
from tests.audit.sealed import shelves, unguarded
from tests.audit.sealing.test_late import another

__all__ = ["folder", "kept"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


def refused(folder: Path, words: str, month: str = "2021-03") -> None:
    there = (partitions(), Entry.objects.count(), Archive.objects.count())
    with pytest.raises(ArchiveError, match=words):
        archive_before(by=None, month=month, folder=folder, reason="r")
    assert (partitions(), Entry.objects.count(), Archive.objects.count()) == there


def nth(index: int) -> str:
    return f"(SELECT entry_id FROM audit_leaf WHERE index = {index})"


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (f"UPDATE audit_entry SET actor = 'Nobody' WHERE id = {nth(5)}", "no. 6 is not what was"),
        (f"DELETE FROM audit_entry WHERE id = {nth(5)}", "speaks of 12 entries of 2021-01, 11 are"),
        ("DELETE FROM audit_leaf WHERE index = 5", "1 of the 12 entries of 2021-01 are not sealed"),
        ("UPDATE audit_leaf SET hashes = sha256('x') WHERE index = 5", "NOT proven intact"),
        ("DELETE FROM audit_node WHERE level = 4", "The ledger is damaged"),
        ("UPDATE audit_node SET hashes = sha256('x') WHERE level = 4", "NOT proven intact"),
        ("DELETE FROM audit_checkpoint", "not sealed yet|speaks of"),
        ("UPDATE audit_checkpoint SET note = replace(note, '— ', '— x')", "NOT proven intact"),
    ],
)
def test_a_damaged_history(kept: str, folder: Path, damage: str, words: str) -> None:
    unguarded(damage)
    refused(folder, words)


def test_entries_that_are_not_sealed_yet(kept: str, folder: Path) -> None:
    shelves(3)
    roll_at("2021-05")
    with pytest.raises(ArchiveError, match="3 of the 8 entries of 2021-04 are not sealed yet"):
        archive_before(by=None, month="2021-05", folder=folder, reason="r")
    assert [one.month for one in partitions()] == ["2021-04", "2021-05"]  # the others are done
    seal()
    assert archive_before(by=None, month="2021-05", folder=folder, reason="r")[0].entries == 8


@pytest.mark.parametrize(
    ("month", "words"),
    [
        ("2021-05", "2021-04 is still open"),
        ("2099-01", "2021-04 is still open"),
        ("2021-01", "No month before 2021-01 is left"),
        ("1999-01", "No month before 1999-01 is left"),
    ],
)
def test_months_that_are_not_over_or_not_there(
    kept: str, folder: Path, month: str, words: str
) -> None:
    refused(folder, words, month)


def test_a_role_that_does_not_own_the_history(kept: str, folder: Path) -> None:
    run("CREATE ROLE somebody")
    run("GRANT SELECT ON ALL TABLES IN SCHEMA public TO somebody")
    run("SET LOCAL ROLE somebody")
    refused(folder, "somebody does not own the history: set OWNER_DATABASE_URL")
    run("RESET ROLE")
    assert list(folder.iterdir()) == []


def test_a_folder_that_is_none(kept: str, folder: Path) -> None:
    refused(folder / "absent", "is not a folder")


@pytest.mark.parametrize("left", [b"", b"something else\n"])
def test_a_file_of_that_name_that_is_no_such_archive(kept: str, folder: Path, left: bytes) -> None:
    (folder / "history-2021-01.jsonl").write_bytes(left)
    refused(folder, "is not an intact archive of 2021-01, so nothing was taken out")
    assert (folder / "history-2021-01.jsonl").read_bytes() == left


def test_another_months_archive_under_this_ones_name(kept: str, folder: Path) -> None:
    archive(folder, "2021-02")
    os.rename(folder / "history-2021-01.jsonl", folder / "history-2021-02.jsonl")
    refused(folder, "is not an intact archive of 2021-02")


def full(*_: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_no_room_on_the_disk(kept: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fsync", full)
    refused(folder, "could not be written: No space left")
    assert list(folder.iterdir()) == []


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-200])


def flip(path: Path) -> None:
    raw = bytearray(path.read_bytes())
    raw[raw.index(b"S3")] ^= 1
    path.write_bytes(raw)


@pytest.mark.parametrize("damage", [cut, flip])
def test_a_disk_that_does_not_keep_what_was_written(
    kept: str, folder: Path, monkeypatch: pytest.MonkeyPatch, damage: Callable[[Path], None]
) -> None:
    settle = files.settle

    def damaged(where: Path) -> None:
        settle(where)
        damage(where / "history-2021-01.jsonl")

    monkeypatch.setattr(files, "settle", damaged)
    refused(folder, "is not an intact archive")


def test_somebody_else_is_at_it(kept: str, folder: Path) -> None:
    with another() as other, other.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_lock(%s)", [LOCK])
        refused(folder, "archived already")


@pytest.mark.parametrize(
    "false",
    ["entries = entries - 1", "first_leaf = first_leaf + 1", "leaves = repeat('0', 64)",
     "last_id = last_id + 30", "sha256 = 'x'", "first_month = '2021-1'", "first_id = first_id"],
)  # fmt: skip
def test_the_database_takes_no_false_record(kept: str, folder: Path, false: str) -> None:
    """Nor a second one of the same entries."""
    archive(folder)
    columns = {"file", "sha256", "size", "first_month", "last_month", "began_at", "ended_at",
               "entries", "first_id", "last_id", "first_leaf", "last_leaf", "leaves",
               "checkpoint"}  # fmt: skip
    name, _, value = false.partition(" = ")
    told = {**{column: column for column in columns}, "file": "file || '.'", name: value}
    with pytest.raises(DatabaseError), transaction.atomic():
        run(f"INSERT INTO audit_archive ({', '.join(told)}) SELECT {', '.join(told.values())}"
            " FROM audit_archive WHERE file = 'history-2021-01.jsonl'")  # fmt: skip
    assert Archive.objects.count() == 2
    assert store.size() == 66
