"""Resolving a stop: by somebody who has looked, with the reason kept in the history."""

from dataclasses import replace

from django.db import transaction

from audit.capture.context import Actor, recorded
from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.note import Signer
from audit.sealing import store
from audit.sealing.clock import signed_ahead, stamp_anew
from audit.sealing.extending import stated_by, stored
from audit.sealing.keys import DamagedError, SealingError, origin, proof_after, signer
from audit.sealing.memory import NOTHING, Memory, UnkeptError, begin_anew, recall, signing_alone
from audit.sealing.models import Checkpoint, SealingEvent, SealingEventKind
from audit.sealing.seal import Place, floor_of, put
from audit.vocabulary import register

RESUMED = register("ledger.resumed", "Resumed sealing the history")


def resume(*, by: Actor | None, reason: str, as_it_stands: bool = False) -> str:
    """Go on from the newest checkpoint, which has to verify and fit the stored tree; with
    `as_it_stands` from the stored tree whatever it holds. Returns what is said in the history.

    Raises SealingError without a reason, or if sealing has not stopped, or can't go on from there.
    """
    if not reason.strip():
        raise SealingError("Give the reason: it is kept in the history.")
    with signing_alone(wait=True):
        memory = _forgiving_recall()
        if memory and not memory.stopped and not signed_ahead(memory.signed.stamp):
            raise SealingError("Sealing has not stopped: there is nothing to resolve.")
        with transaction.atomic():
            store.sealing_alone(wait=True)
            state, words = _settled(memory, by, reason, as_it_stands=as_it_stands)
        # After the commit: a crash in between leaves it stopped, and the command is given again.
        begin_anew(Memory(state))
    return words


def _forgiving_recall() -> Memory | None:
    try:
        return recall()
    except UnkeptError:
        return None


def _proof(last: Checkpoint | None, key: Signer) -> bytes | None:
    """None if the row asks for another: then only the tables' owner goes on from it."""
    try:
        return proof_after(last, key)
    except DamagedError:
        return None


def _settled(
    memory: Memory | None, by: Actor | None, reason: str, *, as_it_stands: bool
) -> tuple[State, str]:
    key, last = signer(), store.newest_checkpoint()
    stated = None if as_it_stands else stated_by(last, [key.verifier])
    tree = stored(stated) if stated else store.frontier(store.size())
    before = memory.signed if memory else NOTHING
    words = (
        f"Sealing goes on from {tree.size:,} entries"
        f"{' as they stand in the database' if as_it_stands else ''}; the signer had signed for "
        f"{before.size:,} with the root {before.root.hex()}."
    )
    with recorded(by=by, action=RESUMED, reason=reason):
        SealingEvent.objects.create(kind=SealingEventKind.RESUMED, words=words)
    state = State(origin(), tree.size, tree.root(), stated.stamp if stated else None)
    if as_it_stands or signed_ahead(state.stamp):
        # As it stands nothing is known to be sealed: all of it is looked through again.
        floor = floor_of(last) if stated else Place()
        state = replace(state, stamp=stamp_anew(state.stamp, (floor.txid, floor.id)))
        put(state, [key], floor, _proof(last, key))
    return state, words
