"""Moving closed months of the history to files. Nothing is ever just dropped.

The file is written, read back and checked first; then one transaction writes the record of it
into the history and takes the partition out. Killed before that commits, all is as it was, and
the next run takes the file that is there if it is whole. Leaves and nodes of the tree stay.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import OperationalError, connection
from psycopg import sql
from psycopg.errors import LockNotAvailable

from audit.capture.context import Actor, recorded
from audit.ledger.bundle.archived import Copy
from audit.registry import registry
from audit.retention.file import read_back, sweep, write
from audit.retention.models import Archive
from audit.retention.plan import ArchiveError, ArchivePlan, Due, due_before, plan, unchanged
from audit.retention.records import HISTORY_ARCHIVED

LOCK = 0x41_52_43_48_49_56_45  # "ARCHIVE"

_OWNER = """
SELECT current_user, pg_has_role(relowner, 'MEMBER') FROM pg_class
WHERE oid = 'audit_entry'::regclass
"""
_TAKE_OUT = """
ALTER TABLE audit_entry DETACH PARTITION {0};
DROP TABLE {0};
"""


def archive_before(
    *,
    by: Actor | None,
    month: str,
    folder: Path,
    reason: str,
    on_archived: Callable[[Archive], None] = lambda _: None,
) -> list[Archive]:
    """Archive every partition that only holds months before this one ("2027-01"), oldest first.

    Run as the owner of the tables. `on_archived` hears of each archive once it is committed. Raises
    ArchiveError when one can't be archived; those before it are.
    """
    made = []
    _require_owner()
    with _alone():
        if not folder.is_dir():
            raise ArchiveError(f"{folder} is not a folder.")
        for due in due_before(month):
            made.append(_archive(by, due, folder, reason))
            on_archived(made[-1])
    return made


def _archive(by: Actor | None, due: Due, folder: Path, reason: str) -> Archive:
    wanted, file = plan(due), folder / due.file_name
    if Archive.objects.filter(file=file.name).exists():
        raise ArchiveError(f"There is an archive {file.name} already.")
    sweep(file)
    if not file.exists():
        write(file, wanted)
    return _record(by, wanted, read_back(file, wanted), reason)


def _record(by: Actor | None, wanted: ArchivePlan, copy: Copy, reason: str) -> Archive:
    """The record, and the partition taken out with it."""
    made = _row_of(wanted, copy)
    try:
        with recorded(by=by, action=HISTORY_ARCHIVED, reason=reason):
            # Before everybody else has to wait: nobody writes to a closed month any more.
            made.carried = registry.carry(made.first_id, made.last_id)
            _hold_all()
            if not unchanged(wanted):
                raise ArchiveError(f"{wanted.due.months} changed meanwhile: try again.")
            made.save(force_insert=True)
            with connection.cursor() as cursor:
                cursor.execute(sql.SQL(_TAKE_OUT).format(sql.Identifier(wanted.due.name)))
    except OperationalError as error:
        if not isinstance(error.__cause__, LockNotAvailable):
            raise
        raise ArchiveError(
            f"The history was in use for too long, {wanted.due.months} stays for now: try again."
        ) from error
    return made


def _row_of(wanted: ArchivePlan, copy: Copy) -> Archive:
    return Archive(
        file=copy.name,
        sha256=copy.sha256,
        size=copy.size,
        first_month=wanted.due.first_month,
        last_month=wanted.due.last_month,
        began_at=wanted.began_at,
        ended_at=wanted.ended_at,
        entries=wanted.entries,
        first_id=wanted.first_id,
        last_id=wanted.due.stop - 1,
        first_leaf=wanted.first_leaf,
        last_leaf=wanted.last_leaf,
        leaves=wanted.leaves,
        checkpoint=copy.report.size,
    )


def _require_owner() -> None:
    with connection.cursor() as cursor:
        cursor.execute(_OWNER)
        role, owns = cursor.fetchone()
    if not owns:
        raise ArchiveError(
            f"The role {role} does not own the history: set OWNER_DATABASE_URL to the owner's "
            "address, see DEVELOPERS.md, Database roles."
        )


def _hold_all() -> None:
    """Nobody reads or writes the history until the commit; taken first, so that nobody waits for
    us while we wait for them. Raises OperationalError after ten seconds."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL lock_timeout = '10s'")
        cursor.execute("LOCK TABLE audit_entry IN ACCESS EXCLUSIVE MODE")


@contextmanager
def _alone() -> Iterator[None]:
    """One run at a time, on this connection; a killed run's lock ends with its connection."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s)", [LOCK])
        if not cursor.fetchone()[0]:
            raise ArchiveError("The history is being archived already.")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_unlock(%s)", [LOCK])
