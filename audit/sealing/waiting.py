"""Which entries are to be sealed next, so that none is ever skipped.

To be sealed is whatever is committed and has no leaf. Looking for that through all of a long
history every few seconds would cost too much, so there is a floor, and only what lies above it is
looked at. An entry's id makes no floor: a writer that took id 7 may commit after the one that took
id 8. Its transaction's number does: every transaction below the oldest one still running has
ended, so its entries are visible now or never will be. Once all visible entries are sealed, the
floor rises to there; it is kept in the checkpoint. A writer that commits late holds the floor
back, not the others' sealing, and is sealed when it has committed.

After a restore into a new cluster transactions are counted from the start again. The oldest then
lies below the floor, which is recognised, and all of the history is looked through. `beneath` does
so on a timer too, in case an entry ever came to lie below the floor.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection

from audit.sealing.payload import COLUMNS

LAST = 2**63 - 1

_OLDEST = "SELECT pg_snapshot_xmin(pg_current_snapshot())::text::bigint"
_NEXT = f"""
SELECT e.txid, e.id, {COLUMNS} FROM audit_entry e
WHERE (e.txid, e.id) > (%s, %s)
    AND NOT EXISTS (SELECT 1 FROM audit_leaf l WHERE l.entry_id = e.id)
ORDER BY e.txid, e.id LIMIT %s
"""  # noqa: S608  our own SQL


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A place in the order (txid, id)."""

    txid: int = 0
    id: int = 0


@dataclass(frozen=True, slots=True)
class Waiting:
    """Entries to seal: (entry id, row of COLUMNS) in order; the floor once they are sealed."""

    rows: Sequence[tuple[int, Sequence[Any]]]
    floor: Place
    more: bool


def oldest_running() -> int:
    """The oldest transaction still running, of the whole cluster: all below it have ended."""
    with connection.cursor() as cursor:
        cursor.execute(_OLDEST)
        return int(cursor.fetchone()[0])


def next_above(floor: Place, limit: int, *, beneath: bool = False) -> Waiting:
    """Up to `limit` entries above the floor, or with `beneath` wherever they are."""
    # Read first: what had ended by then is visible to the next statement.
    oldest = oldest_running()
    ended = Place(oldest - 1, LAST)
    restored = oldest <= floor.txid
    start = Place() if beneath or restored else floor
    with connection.cursor() as cursor:
        cursor.execute(_NEXT, [start.txid, start.id, limit])
        found = cursor.fetchall()
    more = len(found) == limit
    if more:
        ended = min(ended, Place(*found[-1][:2]))
        ended = floor if restored else max(ended, floor)
    return Waiting([(row[1], row[2:]) for row in found], ended, more)
