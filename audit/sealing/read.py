"""Leaves with the canonical bytes of their entries as they are now, read in order."""

from collections.abc import Iterator, Sequence
from typing import Any

from django.db import connection

from audit.ledger.bundle.write import Leaf as Sealed
from audit.sealing.payload import COLUMNS, payload_of

CHUNK = 5_000
LOST = bytes(32)
"""Stands for a leaf whose row is gone or is no hash: no bytes have it."""

_LEAVES = f"""
SELECT l.index, l.hash, e.id IS NOT NULL, {COLUMNS}
FROM audit_leaf l LEFT JOIN audit_entry e ON e.id = l.entry_id
WHERE l.index >= %s AND l.index < %s ORDER BY l.index
"""  # noqa: S608  our own SQL
_ONE = f"SELECT {COLUMNS} FROM audit_entry e WHERE e.id = %s"  # noqa: S608


def payloads(start: int, stop: int) -> Iterator[Sealed]:
    """Every leaf from `start` up to but not including `stop`, with no transaction held open.

    Bytes are None where the entry is gone, the hash is LOST where the leaf is.
    """
    for first in range(start, stop, CHUNK):
        last = min(first + CHUNK, stop)
        at = first
        for index, stored, there, *columns in _rows(first, last):
            yield from (Sealed(lost, LOST, None) for lost in range(at, index))
            whole = bytes(stored) if len(stored) == len(LOST) else LOST
            yield Sealed(index, whole, payload_of(columns) if there else None)
            at = index + 1
        yield from (Sealed(lost, LOST, None) for lost in range(at, last))


def payload_by_id(entry_id: int) -> bytes | None:
    """The canonical bytes of one entry, None if there is no such entry."""
    with connection.cursor() as cursor:
        cursor.execute(_ONE, [entry_id])
        row = cursor.fetchone()
    return payload_of(row) if row else None


def _rows(first: int, last: int) -> Sequence[Sequence[Any]]:
    with connection.cursor() as cursor:
        cursor.execute(_LEAVES, [first, last])
        found: Sequence[Sequence[Any]] = cursor.fetchall()
    return found
