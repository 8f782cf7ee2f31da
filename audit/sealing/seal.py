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

An entry that can't have come this way (its transaction had ended before, its time is not that of
its transaction) is sealed as well, but marked in the checkpoint's signed lines, and an event and an
alarm say so: audit.ledger.window, audit.sealing.late.
"""

import logging
import time
from dataclasses import dataclass, replace

from django.db import connection, transaction

from audit.capture.context import recorded
from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.merkle import Frontier, leaf_hashes
from audit.ledger.note import Signer
from audit.ledger.stamp import Stamp
from audit.sealing import store
from audit.sealing.clock import Snapshot, due, look, marking, stamp_after
from audit.sealing.extending import Standing, StoppedError, proven, require_extension
from audit.sealing.keys import DamagedError, origin, promise, proof_after, signer
from audit.sealing.late import say_late, say_restored
from audit.sealing.memory import Batch, Memory, recall, remember, signing_alone
from audit.sealing.models import Checkpoint, SealingEvent, SealingEventKind
from audit.sealing.payload import MADE, Made, made_by_id, payloads_of
from audit.sealing.runs import sealed
from audit.sealing.stops import say_stopped, stop
from audit.sealing.store import newest_checkpoint
from audit.vocabulary import register

LAST = 2**63 - 1
ADOPTED = register("ledger.adopted", "Began sealing from a checkpoint")
log = logging.getLogger(__name__)

_OLDEST = "SELECT pg_snapshot_xmin(pg_current_snapshot())::text::bigint"
# The next places in the order, sealed or not; and what is not sealed of those up to the last.
_AHEAD = """
WITH ahead AS MATERIALIZED (
    SELECT e.txid, e.id FROM audit_entry e WHERE (e.txid, e.id) > (%s, %s)
    ORDER BY e.txid, e.id LIMIT %s
)
SELECT count(*), min(id), max(id), max(txid),
    (SELECT max(id) FROM ahead WHERE txid = (SELECT max(txid) FROM ahead))
FROM ahead
"""
_NEXT = f"""
SELECT {MADE} FROM audit_entry e
WHERE (e.txid, e.id) > (%(txid)s, %(id)s) AND (e.txid, e.id) <= (%(last_txid)s, %(last_id)s)
    AND NOT e.id <@ {sealed("%(least)s", "%(most)s")}
ORDER BY e.txid, e.id
"""  # noqa: S608  our own SQL


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A place in the order (txid, id)."""

    txid: int = 0
    id: int = 0


@dataclass(frozen=True, slots=True)
class Walk:
    """One walk through what waits, over many batches.

    `seen` are the transactions running when it began: the floor may rise to below the oldest, and
    no further, as one that ended since may lie behind `place` unseen.
    """

    place: Place
    seen: Snapshot
    restored: bool

    @classmethod
    def begin(cls, floor: Place, *, beneath: bool) -> "Walk":
        """From the floor on, or with `beneath`, and after a restore, from the very beginning."""
        # Read first: what had ended by then is visible to every statement after.
        seen = look()
        restored = seen.oldest <= floor.txid
        return cls(Place() if beneath or restored else floor, seen, restored)


@dataclass(frozen=True, slots=True)
class Waiting:
    """Entries to seal, in order; the floor once they are sealed; and how the walk goes on, None at
    its end."""

    rows: Made
    floor: Place
    walk: Walk | None


def oldest_running() -> int:
    """The oldest transaction still running, of the whole cluster: all below it have ended."""
    with connection.cursor() as cursor:
        cursor.execute(_OLDEST)
        return int(cursor.fetchone()[0])


def next_of(walk: Walk, floor: Place, limit: int) -> Waiting:
    """The next entries of the walk that are not sealed, of `limit` places or the first that have
    any."""
    ended = Place(walk.seen.oldest - 1, LAST)
    while True:
        rows, last = _unsealed(walk.place, limit)
        if last is None:
            return Waiting(rows, ended if walk.restored else max(ended, floor), None)
        walk = replace(walk, place=last)
        if rows.ids:
            risen = floor if walk.restored else max(floor, min(ended, last))
            return Waiting(rows, risen, walk)


def _unsealed(after: Place, limit: int) -> tuple[Made, Place | None]:
    """What is not sealed of the next so many places, and the last of them; None at the end."""
    with connection.cursor() as cursor:
        cursor.execute(_AHEAD, [after.txid, after.id, limit])
        count, least, most, *last = cursor.fetchone()
    if not count:
        return Made([], [], [], []), None
    bounds = {"least": least, "most": most, "last_txid": last[0], "last_id": last[1]}
    found = payloads_of(_NEXT, {"txid": after.txid, "id": after.id, **bounds})
    return found.in_order(found.places), Place(*last) if count == limit else None


BATCH = 20_000  # entries a transaction: some ten MB, and well under a second


def seal(*, seconds: float = 60.0, batch: int = BATCH, beneath: bool = False) -> int:
    """Seal what there is, for at most about so long; returns how many entries.

    0 also if another sealer is at it. Raises SealingError if nothing may be sealed until somebody
    has looked: the key is missing, or what is stored does not extend what was signed last. The
    latter is kept, and stops all sealing until audit.sealing.resume.
    """
    try:
        return _seal(seconds, batch, beneath=beneath)
    except DamagedError as error:
        stop(str(error))
        raise
    except StoppedError as error:
        say_stopped(error.why)
        raise


def _seal(seconds: float, batch: int, *, beneath: bool) -> int:
    adopt()
    sealed, ends = 0, time.monotonic() + seconds
    walk: Walk | None = None
    while True:
        done, walk = _seal_batch(batch, walk, beneath=beneath)
        sealed += done
        if walk is None or time.monotonic() > ends:
            return sealed


def adopt() -> None:
    """Where nothing is kept beside the key yet, begin from the newest checkpoint, if it verifies
    and the stored tree gives its root; the history says so. Raises SealingError."""
    if recall() is not None or newest_checkpoint() is None:
        return
    with signing_alone(wait=True), transaction.atomic():
        store.sealing_alone(wait=True)
        last, key = newest_checkpoint(), signer()
        if last is None or recall() is not None:
            return
        standing = proven(last, [key.verifier], None)
        tree = standing.tree
        words = f"The signer began from the checkpoint of {tree.size:,} entries: it had kept none."
        log.warning(words)
        with recorded(by=None, action=ADOPTED):
            SealingEvent.objects.create(kind=SealingEventKind.ADOPTED, words=words)
        remember(Memory(State(origin(), tree.size, tree.root(), standing.stamp)))


def _seal_batch(limit: int, walk: Walk | None, *, beneath: bool) -> tuple[int, Walk | None]:
    """One batch; how many entries, and how the walk goes on."""
    # Held beyond the commit: what the file says was signed is stored before another looks.
    with signing_alone() as alone, transaction.atomic():
        if not alone or not store.sealing_alone():
            return 0, None
        return _next_batch(limit, walk, beneath=beneath)


def _next_batch(limit: int, walk: Walk | None, *, beneath: bool) -> tuple[int, Walk | None]:
    last, memory = newest_checkpoint(), recall()
    floor = floor_of(last)
    walk = walk or Walk.begin(floor, beneath=beneath)
    waiting = next_of(walk, floor, limit)
    if not waiting.rows.ids and last is None and memory is None:
        return 0, None
    key = signer()
    standing = proven(last, [key.verifier], memory)
    proof = proof_after(last, key)
    if standing.rest:
        finish(standing.tree, standing.rest, [key], proof)
        return len(standing.rest.entries), Walk.begin(Place(*standing.rest.floor), beneath=beneath)
    if waiting.rows.ids or (last and due(standing.stamp)):
        _sign_these(waiting, walk, standing, memory, key, proof=proof)
    return len(waiting.rows.ids), waiting.walk


def _sign_these(
    waiting: Waiting,
    walk: Walk,
    standing: Standing,
    memory: Memory | None,
    key: Signer,
    *,
    proof: bytes | None,
) -> None:
    tree, floor = standing.tree, (waiting.floor.txid, waiting.floor.id)
    before = State(origin(), tree.size, tree.root())
    stamp = stamp_after(
        standing.stamp,
        floor,
        latest=memory.signed.stamp if memory else None,
        restored=walk.restored,
        through=None if waiting.walk else walk.seen,
    )
    stamp = marking(stamp, standing.stamp, tree.size, waiting.rows, walk.seen)
    if walk.restored and not waiting.walk:
        say_restored()
    _append(tree, waiting.rows, proof)
    require_extension(before, tree)
    batch = Batch(before.size, before.root, tuple(waiting.rows.ids), floor)
    sign(tree, [key], stamp, batch, proof)


def finish(tree: Frontier, rest: Batch, keys: list[Signer], proof: bytes | None) -> None:
    """Store the batch that was signed for and not committed. Raises DamagedError unless its
    entries are there and give the root that was signed."""
    place = {entry_id: at for at, entry_id in enumerate(rest.entries)}
    found = made_by_id(rest.entries)
    rows = found.in_order([place[pk] for pk in found.ids])
    _append(tree, rows, proof)
    memory, state = recall(), State(origin(), tree.size, tree.root())
    if memory is None or state != replace(memory.signed, stamp=None):
        raise DamagedError(
            f"The signer signed {len(rest.entries):,} entries after no. {rest.size:,} that the "
            f"database did not keep, and {len(rows.ids):,} of them are there now, other than "
            "signed: they were altered or removed, or it was restored from a backup."
        )
    put(memory.signed, keys, Place(*rest.floor), proof)


def floor_of(last: Checkpoint | None) -> Place:
    """The floor as of that checkpoint."""
    return Place(last.floor_txid, last.floor_id) if last else Place()


def sign(
    tree: Frontier, keys: list[Signer], stamp: Stamp, batch: Batch, proof: bytes | None = None
) -> Checkpoint:
    """Sign the tree's state: kept beside the key first, then the note in the database."""
    state = State(origin(), tree.size, tree.root(), stamp)
    remember(Memory(state, batch))
    return put(state, keys, Place(*stamp.floor), proof)


def put(state: State, keys: list[Signer], floor: Place, proof: bytes | None) -> Checkpoint:
    """Store the note over a state that is kept beside the key, and say what it marks. The last of
    the keys signs the next."""
    stamp = state.stamp
    if stamp:
        say_late(stamp)
    note = state.signed(keys)
    at, asked = (floor.txid, floor.id), promise(keys[-1], note)
    return store.add_checkpoint(state, note, at, promise=asked, proof=proof)


def _append(tree: Frontier, rows: Made, proof: bytes | None) -> None:
    store.append(tree.size, rows.ids, leaf_hashes(rows.payloads), tree, proof)
