"""Whether the stored tree extends what was signed last: what has to hold before anything is signed.

The database is asked for the tree and believed in nothing: the newest checkpoint's note has to
verify with the signer's own key, its row to say what the note signs, the tree to give that root,
and a consistency proof (RFC 9162 section 2.1.4) to lead there from the state kept beside the key.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.checkpoint import read_body
from audit.ledger.errors import LedgerError
from audit.ledger.merkle import Frontier
from audit.ledger.note import Verifier, open_note
from audit.ledger.proof import consistency_spans, extends, needed, resolve
from audit.ledger.stamp import Stamp, moment
from audit.sealing import store
from audit.sealing.keys import DamagedError, SealingError, origin
from audit.sealing.memory import NOTHING, Batch, Memory
from audit.sealing.models import Checkpoint

WAY_OUT = "docs/history-and-archives.md, “When sealing stops”, says what to do."


class StoppedError(SealingError):
    """Sealing stopped earlier, for `why`, and nobody has resolved it yet."""

    def __init__(self, why: str) -> None:
        super().__init__(f"Sealing has stopped. {why} {WAY_OUT}")
        self.why = why


@dataclass(frozen=True, slots=True)
class Standing:
    """The stored tree, what its newest checkpoint says of time, and the batch that was signed and
    has to be stored before all else, if any."""

    tree: Frontier
    stamp: Stamp | None
    rest: Batch | None = None


def proven(last: Checkpoint | None, keys: Sequence[Verifier], memory: Memory | None) -> Standing:
    """What may be gone on from.

    Raises DamagedError naming what does not fit; StoppedError until that is resolved.
    """
    if memory and memory.stopped:
        raise StoppedError(memory.stopped)
    stated = stated_by(last, keys)
    tree = stored(stated)
    if memory is None or memory.signed.size == 0:
        return Standing(tree, stated.stamp)
    if memory.signed.origin != origin():
        raise DamagedError(
            f"The signer signs for {memory.signed.origin}, and the database says it is "
            f"{origin() or 'nobody'}: its list of keys was changed, or it is another database."
        )
    if rest := _unfinished(stated, memory):
        return Standing(tree, stated.stamp, rest)
    _require_extended(memory, stated, tree)
    return Standing(tree, stated.stamp)


def stated_by(last: Checkpoint | None, keys: Sequence[Verifier]) -> State:
    """What the newest checkpoint signs. Raises DamagedError if its note or its row does not fit."""
    if last is None:
        return NOTHING
    try:
        signed = read_body(open_note(last.note, keys)[0])
    except LedgerError as error:
        raise DamagedError(
            f"The newest checkpoint, of {last.size:,} entries, does not verify with the signing "
            f"key: {error}."
        ) from error
    if (last.size, bytes(last.root)) != (signed.size, signed.root):
        raise DamagedError(
            f"The newest checkpoint's row says {last.size:,} entries with the root "
            f"{bytes(last.root).hex()[:16]}…; its note signs {signed.size:,} with "
            f"{signed.root.hex()[:16]}…: the row was changed."
        )
    _require_stamp(last, signed.stamp)
    return signed


def _require_stamp(last: Checkpoint, stamp: Stamp | None) -> None:
    if stamp is None:
        return
    floor = (last.floor_txid, last.floor_id)
    if (floor, moment(last.made_at)) != (stamp.floor, stamp.time):
        raise DamagedError(
            f"The newest checkpoint's row says it was made at {moment(last.made_at)} with the "
            f"floor {floor}; its note signs {stamp.time} and {stamp.floor}: the row was changed."
        )


def stored(stated: State) -> Frontier:
    """The stored tree. Raises DamagedError unless it gives the stated root."""
    leaves = store.size()
    tree = store.frontier(leaves)
    if (leaves, tree.root()) != (stated.size, stated.root):
        raise DamagedError(
            f"The stored tree has {leaves:,} leaves and does not give the root that the newest "
            f"checkpoint signs for {stated.size:,} entries."
        )
    return tree


def _unfinished(stated: State, memory: Memory) -> Batch | None:
    """The batch of the last signature, where the database is as it was before that one."""
    batch = memory.batch
    if batch is None or (batch.size, batch.root) != (stated.size, stated.root):
        return None
    if batch.size < memory.signed.size:
        return batch
    return batch if _ahead(memory.signed, stated) == 1 else None


def _ahead(kept: State, stated: State) -> int:
    """How many checkpoints lie between, as their numbers say; 0 for older notes, without any."""
    if kept.stamp is None:
        return 0
    return kept.stamp.number - stated.stamp.number if stated.stamp else 1


def _require_extended(memory: Memory, stated: State, tree: Frontier) -> None:
    old, when = memory.signed, f"signed on {memory.at}"
    if tree.size < old.size:
        raise DamagedError(
            f"The signer has {when} for {old.size:,} entries, and the database's newest checkpoint "
            f"speaks of {tree.size:,}: it was cut back, or restored from a backup."
        )
    if tree.size == old.size and _ahead(old, stated) > 0:
        raise DamagedError(
            f"The signer has {when} for {old.size:,} entries in a checkpoint that is newer than "
            "the database's newest: that was removed, or it was restored from a backup."
        )
    require_extension(old, tree, when)


def require_extension(old: State, tree: Frontier, when: str = "signed") -> None:
    """Raise DamagedError unless the stored nodes prove that `tree` only appends to `old`."""
    spans = consistency_spans(old.size, tree.size)
    try:
        proof = resolve(spans, store.nodes(needed(spans)))
        whole = extends(
            old=old.size, new=tree.size, old_root=old.root, new_root=tree.root(), proof=proof
        )
    except LedgerError as error:
        raise DamagedError(f"The stored tree is damaged: {error}.") from error
    if not whole:
        raise DamagedError(
            f"The stored tree of {tree.size:,} entries does not extend the {old.size:,} {when}: "
            "at least one of those was altered, removed, inserted or re-ordered."
        )
