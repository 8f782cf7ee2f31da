"""Leaves with the canonical bytes of their entries as they are now, read in order."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.db import connection

from audit.ledger.bundle.write import Leaf as Sealed
from audit.retention.records import archives_of
from audit.sealing.payload import COLUMNS, payload_of

CHUNK = 5_000
LOST = bytes(32)
"""Stands for a leaf whose row is gone or is no hash: no bytes have it."""

_LEAVES = """
SELECT l.index, l.entry_id, l.hash FROM audit_leaf l
WHERE l.index >= %s AND l.index < %s ORDER BY l.index
"""
# By ids that are written out, which rules out all partitions but one or two; a join would plan
# for, and might read, all of them.
_ENTRIES = f"SELECT e.id, {COLUMNS} FROM audit_entry e WHERE e.id = ANY(%s)"  # noqa: S608


def payloads(start: int, stop: int) -> Iterator[Sealed]:
    """Every leaf from `start` up to but not including `stop`, with no transaction held open.

    Bytes are None where the entry is gone (to an archive, if a record says so), the hash is LOST
    where the leaf is.
    """
    for first in range(start, stop, CHUNK):
        last = min(first + CHUNK, stop)
        at = first
        leaves = _rows(_LEAVES, [first, last])
        there = entries_by_id([entry_id for _, entry_id, _ in leaves])
        gone = [entry_id for _, entry_id, _ in leaves if entry_id not in there]
        archived = archives_of(gone) if gone else {}
        for index, entry_id, stored in leaves:
            yield from (Sealed(lost, LOST, None) for lost in range(at, index))
            whole = bytes(stored) if len(stored) == len(LOST) else LOST
            yield Sealed(index, whole, there.get(entry_id), archived.get(entry_id))
            at = index + 1
        yield from (Sealed(lost, LOST, None) for lost in range(at, last))


def entries_by_id(ids: Sequence[int]) -> Mapping[int, bytes]:
    """The canonical bytes of these entries; those that are not here are left out."""
    return {entry_id: payload_of(columns) for entry_id, *columns in _rows(_ENTRIES, [list(ids)])}


def payload_by_id(entry_id: int) -> bytes | None:
    """The canonical bytes of one entry, None if there is no such entry."""
    return entries_by_id([entry_id]).get(entry_id)


def _rows(sql: str, values: Sequence[Any]) -> Sequence[Sequence[Any]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        found: Sequence[Sequence[Any]] = cursor.fetchall()
    return found
