"""An archive's file: written whole or not at all, and read back from the disk before it counts."""

from collections.abc import Iterator
from pathlib import Path

from django.db import connection

from audit.ledger.bundle.archived import Copy
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.write import Leaf, bundle_lines
from audit.ledger.errors import LedgerError
from audit.ledger.files import write_whole
from audit.retention.plan import ArchiveError, ArchivePlan, Due
from audit.sealing import store
from audit.sealing.keys import origin, verifiers
from audit.sealing.payload import entries_by_id
from audit.sealing.runs import leaves
from audit.witnessing.standing import cosigned

CHUNK = 5_000  # leaves read at once

_LEAVES = f"""
SELECT index, entry_id, hash FROM {leaves("%(start)s", "%(stop)s")} l
WHERE entry_id >= %(first)s AND entry_id < %(last)s ORDER BY index
"""  # noqa: S608  our own SQL
# A key is believed because the one before signed beside it; a late entry is known by its mark.
_HANDOVERS = """
SELECT note FROM audit_checkpoint
WHERE (note LIKE E'%%\\n— %%\\n— %%' OR note ~ '\\nlate \\d+ ') AND id < %s ORDER BY id
"""


def write(file: Path, plan: ArchivePlan) -> None:
    """Write the archive under a name of its own and give it its name once it is on the disk.

    Raises ArchiveError if there is no room, no such folder, or the ledger lacks a part.
    """
    try:
        write_whole(file, _lines(plan), anew=True)
    except OSError as error:
        raise ArchiveError(f"{file} could not be written: {error.strerror}.") from error
    except LedgerError as error:
        raise ArchiveError(f"The ledger is damaged, check the history: {error}.") from error


def sweep(file: Path) -> None:
    """Remove what a killed run left half-written. Call only while no other run is under way."""
    for left in file.parent.glob(f"{file.name}.*.part"):
        left.unlink()


def read_back(file: Path, plan: ArchivePlan) -> Copy:
    """Check the file as the offline check does, from the disk and against this plan.

    Raises ArchiveError unless it is a whole archive of exactly these entries.
    """
    try:
        with file.open("rb") as lines:
            copy = Copy(file.name, lines)
            copy.report = verify(copy, keys=verifiers())
    except OSError as error:
        raise ArchiveError(f"{file} could not be read back: {error.strerror}.") from error
    report = copy.report
    whole = (report.entries, copy.leaves, report.origin) == (plan.entries, plan.leaves, origin())
    if not (report.intact and whole):
        wrong = [line for line in report.lines() if not line.startswith("- note")]
        raise ArchiveError(
            f"{file} is not an intact archive of {plan.due.months}, so nothing was taken out of "
            f"the history. {' '.join(wrong[:5])}"
        )
    return copy


def _lines(plan: ArchivePlan) -> Iterator[bytes]:
    with connection.cursor() as cursor:
        cursor.execute(_HANDOVERS, [plan.newest.pk])
        handovers = [note for (note,) in cursor]
    return bundle_lines(
        origin=origin(),
        keys=verifiers(),
        leaves=_leaves(plan.due, plan.first_leaf, plan.last_leaf + 1),
        checkpoints=[*handovers, cosigned(plan.newest)],
        nodes=store.nodes,
    )


def _leaves(due: Due, start: int, stop: int) -> Iterator[Leaf]:
    """Those of the partition's own entries; what others sealed in between becomes gaps."""
    for first in range(start, stop, CHUNK):
        with connection.cursor() as cursor:
            bounds = {"start": first, "stop": min(first + CHUNK, stop)}
            cursor.execute(_LEAVES, {**bounds, "first": due.first, "last": due.stop})
            rows = cursor.fetchall()
        there = entries_by_id([entry_id for _, entry_id, _ in rows])
        yield from (Leaf(at, bytes(made), there.get(entry_id)) for at, entry_id, made in rows)
