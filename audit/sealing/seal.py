"""Sealing: committed entries go into the tree, in order, and are signed for.

One transaction a batch, holding leaves, nodes and checkpoint: killed anywhere, either all of a
batch is there or nothing of it. Any number of sealers may run; one appends at a time.

None is ever skipped: to be sealed is whatever is committed and has no leaf. Looking for that
through all of a long history every few seconds would cost too much, so there is a floor, and only
what lies above it is looked at. An entry's id makes no floor: a writer that took id 7 may commit
after the one that took id 8. Its transaction's number does: every transaction below the oldest
one still running has ended, so its entries are visible now or never will be. Once all visible
entries are sealed, the floor rises to there; it is kept in the checkpoint. A writer that commits
late holds the floor back, not the others' sealing, and is sealed when it has committed.

After a restore into a new cluster transactions are counted from the start again. The oldest then
lies below the floor, which is recognised, and all of the history is looked through. `beneath`
does so on a timer too, in case an entry ever came to lie below the floor.
"""

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db import connection, transaction

from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.merkle import Frontier, leaf_hash
from audit.ledger.note import Signer
from audit.sealing import store
from audit.sealing.keys import DamagedError, origin, signer
from audit.sealing.models import Checkpoint
from audit.sealing.payload import COLUMNS, payload_of

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
class Walk:
    """One walk through what waits, over many batches.

    `oldest` is the oldest transaction running when it began: the floor may rise to below that, and
    no further, as one that ended since may lie behind `place` unseen.
    """

    place: Place
    oldest: int
    restored: bool

    @classmethod
    def begin(cls, floor: Place, *, beneath: bool) -> "Walk":
        """From the floor on, or with `beneath`, and after a restore, from the very beginning."""
        # Read first: what had ended by then is visible to every statement after.
        oldest = oldest_running()
        restored = oldest <= floor.txid
        return cls(Place() if beneath or restored else floor, oldest, restored)


@dataclass(frozen=True, slots=True)
class Waiting:
    """Entries to seal: (entry id, row of COLUMNS) in order; the floor once they are sealed; and
    how the walk goes on, None at its end."""

    rows: Sequence[tuple[int, Sequence[Any]]]
    floor: Place
    walk: Walk | None


def oldest_running() -> int:
    """The oldest transaction still running, of the whole cluster: all below it have ended."""
    with connection.cursor() as cursor:
        cursor.execute(_OLDEST)
        return int(cursor.fetchone()[0])


def next_of(walk: Walk, floor: Place, limit: int) -> Waiting:
    """The next entries of the walk, up to `limit`."""
    with connection.cursor() as cursor:
        cursor.execute(_NEXT, [walk.place.txid, walk.place.id, limit])
        fetched = cursor.fetchall()
    rows = [(row[1], row[2:]) for row in fetched]
    ended = Place(walk.oldest - 1, LAST)
    if len(fetched) < limit:
        return Waiting(rows, ended if walk.restored else max(ended, floor), None)
    last = Place(*fetched[-1][:2])
    risen = floor if walk.restored else max(floor, min(ended, last))
    return Waiting(rows, risen, replace(walk, place=last))


BATCH = 5_000  # entries a transaction: a few MB, and well under a second


def seal(*, seconds: float = 60.0, batch: int = BATCH, beneath: bool = False) -> int:
    """Seal what there is, for at most about so long; returns how many entries.

    0 also if another sealer is at it. Raises SealingError if nothing may be sealed until somebody
    has looked: the key is missing, or the stored tree does not fit its last checkpoint.
    """
    sealed, ends = 0, time.monotonic() + seconds
    walk: Walk | None = None
    while True:
        done, walk = _seal_batch(batch, walk, beneath=beneath)
        sealed += done
        if walk is None or time.monotonic() > ends:
            return sealed


def newest_checkpoint() -> Checkpoint | None:
    """The last signed state."""
    return Checkpoint.objects.order_by("-id").first()


@transaction.atomic
def _seal_batch(limit: int, walk: Walk | None, *, beneath: bool) -> tuple[int, Walk | None]:
    """One batch; how many entries, and how the walk goes on."""
    if not store.sealing_alone():
        return 0, None
    last = newest_checkpoint()
    floor = floor_of(last)
    waiting = next_of(walk or Walk.begin(floor, beneath=beneath), floor, limit)
    if not waiting.rows:
        return 0, None
    key = signer()
    tree = trusted_tree(last)
    _append(tree, waiting)
    sign(tree, [key], waiting.floor)
    return len(waiting.rows), waiting.walk


def floor_of(last: Checkpoint | None) -> Place:
    """The floor as of that checkpoint."""
    return Place(last.floor_txid, last.floor_id) if last else Place()


def trusted_tree(last: Checkpoint | None) -> Frontier:
    """The tree as it is stored. Raises DamagedError unless it gives the last checkpoint's root.

    Signing what does not follow from the last signed state would break every proof from then on.
    """
    leaves = store.size()
    tree = store.frontier(leaves)
    if (leaves, tree.root()) != ((last.size, bytes(last.root)) if last else (0, tree.root())):
        raise DamagedError(
            f"The stored tree has {leaves} leaves and does not fit the last checkpoint: "
            "check the history before anything is sealed."
        )
    return tree


def sign(tree: Frontier, keys: list[Signer], floor: Place) -> Checkpoint:
    """Sign the tree's state and keep the note."""
    state = State(origin(), tree.size, tree.root())
    return Checkpoint.objects.create(
        size=state.size,
        root=state.root,
        note=state.signed(keys),
        floor_txid=floor.txid,
        floor_id=floor.id,
    )


def _append(tree: Frontier, waiting: Waiting) -> None:
    ids = [entry_id for entry_id, _ in waiting.rows]
    hashes = [leaf_hash(payload_of(row)) for _, row in waiting.rows]
    store.append(tree.size, ids, hashes, tree)
