"""What an archive of a partition has to hold: refused unless all was sealed and signed for."""

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

from django.db import connection

from audit.capture.partitions import Partition, partitions
from audit.sealing.models import Checkpoint
from audit.sealing.runs import leaves, sealed
from audit.sealing.store import newest_checkpoint


class ArchiveError(Exception):
    """Nothing was taken out of the history; the message says why."""


LEAST = -(2**63)

_ENTRIES = f"""
SELECT count(*), min(id), min(at), max(at),
    count(*) FILTER (WHERE NOT e.id <@ {sealed("%(least)s", "%(most)s")})
FROM audit_entry e WHERE id >= %(least)s AND id < %(most)s
"""  # noqa: S608  our own SQL
_LEAVES = f"""
SELECT count(*), min(index), max(index),
    encode(sha256(string_agg(hash, ''::bytea ORDER BY index)), 'hex')
FROM {leaves("%(least)s", "%(most)s", by="entry_id")} l
"""  # noqa: S608  our own SQL


@dataclass(frozen=True, slots=True)
class Due:
    """A closed partition; `last_month` is the last before the next one was opened."""

    name: str
    first_month: str
    last_month: str
    first: int
    stop: int

    @property
    def months(self) -> str:
        """'2026-11' or '2026-11-to-2027-01'."""
        if self.first_month == self.last_month:
            return self.first_month
        return f"{self.first_month}-to-{self.last_month}"

    @property
    def file_name(self) -> str:
        """The archive's name; there is one archive of a month."""
        return f"history-{self.months}.jsonl"


@dataclass(frozen=True, slots=True)
class ArchivePlan:
    """The entries of a partition as the ledger knows them; leaves count from 0."""

    due: Due
    first_id: int
    began_at: datetime
    ended_at: datetime
    entries: int
    first_leaf: int
    last_leaf: int
    leaves: str
    newest: Checkpoint


def due_before(month: str) -> list[Due]:
    """Partitions that only hold months before this one ("2027-01"), oldest first.

    Raises ArchiveError if the month is not over yet, or there are none.
    """
    every = partitions()
    if month > every[-1].month:
        is_open = every[-1].month
        raise ArchiveError(
            f"{is_open} is still open: give --before {is_open}, or an earlier month."
        )
    due = [_due(one, after) for one, after in pairwise(every) if after.month <= month]
    if not due:
        raise ArchiveError(f"No month before {month} is left to be archived.")
    return due


def plan(due: Due) -> ArchivePlan:
    """Raises ArchiveError if entries are not sealed, or the ledger does not fit what is there."""
    newest = newest_checkpoint()
    entries, first_id, began_at, ended_at, unsealed = _row(_ENTRIES, due.first, due.stop)
    if not newest or unsealed:
        raise ArchiveError(
            f"{unsealed:,} of the {entries:,} entries of {due.months} are not sealed yet: "
            "see that the workers run, and try again."
        )
    least = due.first if first_id is None else first_id
    count, first_leaf, last_leaf, digest = _row(_LEAVES, least, due.stop)
    if not entries or count != entries or last_leaf >= newest.size:
        raise ArchiveError(
            f"The ledger speaks of {count:,} entries of {due.months}, {entries:,} are there: "
            "check the history before anything is archived."
        )
    return ArchivePlan(
        due, first_id, began_at, ended_at, entries, first_leaf, last_leaf, digest, newest
    )


def unchanged(wanted: ArchivePlan) -> bool:
    """Whether the partition and its entries are still there."""
    now = _row(_ENTRIES, wanted.due.first, wanted.due.stop)
    there = wanted.due.name in {one.name for one in partitions()}
    return there and now[:2] == (wanted.entries, wanted.first_id)


def _due(one: Partition, after: Partition) -> Due:
    year, month = (int(part) for part in after.month.split("-"))
    before = f"{year}-{month - 1:02}" if month > 1 else f"{year - 1}-12"
    return Due(
        name=one.name,
        first_month=one.month,
        last_month=max(one.month, before),
        first=LEAST if one.first is None else one.first,
        stop=after.first or 0,
    )


def _row(sql: str, least: int, most: int) -> tuple[Any, ...]:
    with connection.cursor() as cursor:
        cursor.execute(sql, {"least": least, "most": most})
        row: tuple[Any, ...] = cursor.fetchone()
    return row
