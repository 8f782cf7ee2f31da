"""Replacing the signing key, handed over by the old one where that still exists."""

from django.db import transaction

from audit.capture.context import Actor
from audit.ledger.note import Signer
from audit.sealing import store
from audit.sealing.clock import stamp_after
from audit.sealing.extending import Standing, proven
from audit.sealing.keys import (
    KEY_ROTATED,
    SealingError,
    key_file,
    next_file,
    origin,
    proof_after,
    read,
    record,
    signer,
    verifiers,
    write,
)
from audit.sealing.memory import Batch, Memory, recall, signing_alone
from audit.sealing.seal import Place, finish, floor_of, sign
from audit.sealing.store import newest_checkpoint


def rotate(*, by: Actor | None, lost: bool, reason: str) -> Signer:
    """Make a new key, put it into the history and sign the present state with both.

    Whoever trusts the old key can trust the new one from that checkpoint on. With `lost` the old
    one can not sign, and everybody who kept it has to be told the new one by another way; a check
    says so. Raises SealingError if nothing was sealed yet, or the old key is not there (or, with
    `lost`, is).
    """
    if not verifiers():
        raise SealingError("There is no key to replace: nothing was sealed yet.")
    with signing_alone(wait=True):
        with transaction.atomic():
            store.sealing_alone(wait=True)
            made = _change(by, reason, lost=lost)
        next_file().replace(key_file())
    return made


def _change(by: Actor | None, reason: str, *, lost: bool) -> Signer:
    old = None if lost else signer()
    _require_lost(lost=lost)
    last, known = newest_checkpoint(), [old.verifier] if old else verifiers()
    memory = recall()
    standing = proven(last, known, memory)
    new = _waiting_key()
    # The old key's; where it is lost there is none, and the tables' owner has to do this.
    proof = proof_after(last, old) if old else None
    replaced = verifiers()[-1].text
    record(new, replaced, by=by, action=KEY_ROTATED, reason=reason, proof=proof)
    keys = [key for key in (old, new) if key]
    if standing.rest:
        finish(standing.tree, standing.rest, keys, proof)
    else:
        _sign_anew(standing, memory, keys, floor_of(last), proof)
    return new


def _sign_anew(
    standing: Standing,
    memory: Memory | None,
    keys: list[Signer],
    floor: Place,
    proof: bytes | None,
) -> None:
    tree, at = standing.tree, (floor.txid, floor.id)
    stamp = stamp_after(standing.stamp, at, latest=memory.signed.stamp if memory else None)
    sign(tree, keys, stamp, Batch(tree.size, tree.root(), (), at), proof)


def _require_lost(*, lost: bool) -> None:
    key = read(key_file()) if lost else None
    if key and key.verifier.text == verifiers()[-1].text:
        raise SealingError("The key is not lost: its file is there. Replace it without --lost.")


def _waiting_key() -> Signer:
    """A new key in its waiting file; one left by a crash before the history knew it is dropped."""
    next_file().unlink(missing_ok=True)
    made = Signer.new(origin())
    write(next_file(), made)
    return made
