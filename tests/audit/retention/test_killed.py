"""Killed anywhere, or run twice at once: nothing is lost, and the next run ends the work."""

import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection, connections

from audit.capture.models import Entry
from audit.capture.partitions import partitions
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.retention import archive as action
from audit.retention import file as writing
from audit.retention.archive import LOCK, archive_before
from audit.retention.models import Archive
from audit.retention.plan import ArchiveError
from audit.sealing.seal import seal
from tests.audit.months import year
from tests.audit.retention.test_archive import folder
from tests.audit.sample import empty
from tests.audit.sealed import last_checkpoint, sealed_ids, shelves
from tests.audit.sealing.test_races import wait_until_alone
from tests.races import at_once

__all__ = ["folder"]
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("one_partition")]


@pytest.fixture
def months(one_partition: None, key_file: object) -> Iterator[list[int]]:
    """Two closed months, sealed; the ids in order of sealing."""
    year("2021-01", (30, 20))
    shelves(5)
    while seal():
        pass
    yield sealed_ids()
    empty()


def die(*_: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def while_writing(patch: pytest.MonkeyPatch) -> None:
    """After half of the file."""
    plain = writing._lines

    def some(plan: object) -> Iterator[bytes]:
        for number, line in enumerate(plain(plan)):  # type: ignore[arg-type]
            if number == 12:
                die()
            yield line

    patch.setattr(writing, "_lines", some)


def before_the_name(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(os, "link", die)


def before_reading_back(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(action, "read_back", die)


def before_the_lock(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(action, "_hold_all", die)


def before_the_record(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(action, "unchanged", die)


def before_the_commit(patch: pytest.MonkeyPatch) -> None:
    """The record is written and the partition dropped, but nothing committed."""
    plain = connection.commit

    def commit() -> None:
        if Archive.objects.exists():
            die()
        plain()

    patch.setattr(connections["default"], "commit", commit)


POINTS: list[Callable[[pytest.MonkeyPatch], None]] = [
    while_writing, before_the_name, before_reading_back, before_the_lock, before_the_record,
    before_the_commit,
]  # fmt: skip


def killed_in(point: Callable[[pytest.MonkeyPatch], None], folder: Path) -> None:
    """A process of its own that is killed at that point."""
    pid = os.fork()
    if not pid:
        try:  # never back into the test; the parent's connection is only put aside
            aside = connection.connection
            connection.connection = None
            point(pytest.MonkeyPatch())
            if aside is not False:
                archive_before(by=None, month="2021-02", folder=folder, reason="r")
        finally:
            os._exit(1)
    assert os.waitpid(pid, 0)[1] == signal.SIGKILL
    wait_until_alone()


@pytest.mark.parametrize("point", POINTS)
def test_killed_and_run_again(
    months: list[int], folder: Path, point: Callable[[pytest.MonkeyPatch], None]
) -> None:
    parts = partitions()
    killed_in(point, folder)
    assert partitions() == parts
    assert not Archive.objects.exists()
    assert sorted(Entry.objects.values_list("pk", flat=True)) == sorted(months)
    call_command("archive_history", before="2021-02", to=folder, reason="r")
    (made,) = Archive.objects.all()
    assert [path.name for path in folder.iterdir()] == [made.file]
    assert partitions() == parts[1:]
    while seal():
        pass
    with (folder / made.file).open("rb") as lines:
        report = verify(bundle(), since=[last_checkpoint().note], archives={made.file: lines})
    assert report.intact, list(report.lines())
    assert report.looked_at == made.entries
    assert sealed_ids()[: len(months)] == months


def test_two_at_once(months: list[int], folder: Path) -> None:
    def run() -> list[Archive]:
        return archive_before(by=None, month="2021-03", folder=folder, reason="r")

    told = at_once([run, run, run])
    done = [one for one in told if isinstance(one, list)]
    assert [[made.file for made in one] for one in done] == [
        ["history-2021-01.jsonl", "history-2021-02.jsonl"]
    ]
    lost = [str(one) for one in told if isinstance(one, ArchiveError)]
    assert len(lost) == 2
    assert all("archived already" in one or "No month before" in one for one in lost)
    assert Archive.objects.count() == 2


def test_while_everybody_writes_and_seals(months: list[int], folder: Path) -> None:
    """No write is lost or refused, and all of it is sealed."""
    before = Entry.objects.count()

    def write() -> int:
        for _ in range(20):
            shelves(1)
        return 20

    def sealer() -> int:
        return sum(seal(batch=7) for _ in range(20))

    def run() -> int:
        return sum(
            one.entries
            for one in archive_before(by=None, month="2021-03", folder=folder, reason="r")
        )

    told = at_once([*([write] * 4), sealer, run])
    assert not [one for one in told if isinstance(one, Exception)], told
    archived = sum(Archive.objects.values_list("entries", flat=True))
    while seal():
        pass
    assert Entry.objects.count() == before + 80 + 2 - archived
    assert len(sealed_ids()) == Entry.objects.count() + archived
    lines = {path.name: path.read_bytes().splitlines(keepends=True) for path in folder.iterdir()}
    report = verify(bundle(), archives=lines)
    assert report.intact, list(report.lines())
    assert report.looked_at == archived


def test_where_the_history_is_in_use_for_long_it_gives_way(
    months: list[int], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.audit.sealing.test_late import another  # noqa: PLC0415

    plain = action._hold_all

    def impatient() -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL lock_timeout = '300ms'")
            cursor.execute("LOCK TABLE audit_entry IN ACCESS EXCLUSIVE MODE")

    monkeypatch.setattr(action, "_hold_all", impatient)
    with another() as slow, slow.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM audit_entry")
        with pytest.raises(ArchiveError, match="in use for too long, 2021-01 stays"):
            archive_before(by=None, month="2021-02", folder=folder, reason="r")
    assert not Archive.objects.exists()
    monkeypatch.setattr(action, "_hold_all", plain)
    assert archive_before(
        by=None, month="2021-02", folder=folder, reason="r"
    )  # takes the file there is
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE objid = %s", [LOCK & 0xFFFFFFFF])
        assert cursor.fetchone() == (0,)
