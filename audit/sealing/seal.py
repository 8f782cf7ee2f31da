"""Sealing: committed entries go into the tree, in order, and are signed for.

One transaction a batch, holding leaves, nodes and checkpoint: killed anywhere, either all of a
batch is there or nothing of it. Any number of sealers may run; one appends at a time.
"""

import time

from django.db import transaction

from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.merkle import Frontier, leaf_hash
from audit.ledger.note import Signer
from audit.models import Checkpoint
from audit.sealing import store
from audit.sealing.errors import DamagedError
from audit.sealing.keys import origin, signer
from audit.sealing.payload import payload_of
from audit.sealing.waiting import Place, Waiting, Walk, next_of

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
