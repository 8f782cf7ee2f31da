"""What a witness answers to an offer, in the order of C2SP tlog-witness."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from threading import Lock

from audit.ledger.checkpoint import Checkpoint, read_checkpoint
from audit.ledger.errors import LedgerError, base64_text
from audit.ledger.merkle import EMPTY_ROOT
from audit.ledger.note import DASH, Verifier, open_note, read_note
from audit.ledger.proof import extends
from audit.ledger.witness.protocol import Answer, Offer, conflict, read_offer
from audit.ledger.witness.state import Folder, FolderError, Seen

log = logging.getLogger(__name__)


class WitnessService:
    """Cosigns for the histories whose signing keys it was given; a key's name is its origin."""

    def __init__(self, folder: Folder, logs: Sequence[Verifier]) -> None:
        self._folder = folder
        self._logs = list(logs)
        # From reading the state to having written the next: two offers never start from one.
        self._alone = Lock()

    def answer(self, body: bytes) -> Answer:
        """The answer to a request's body. Never raises for what somebody sent."""
        try:
            offer = read_offer(body.decode("utf-8"))
        except UnicodeDecodeError:
            return Answer(400, "This is no offer: it is not UTF-8.\n")
        except LedgerError as error:  # named, and not repeated: it may be anything
            return Answer(400, f"This is no offer: its {error.field} is not as it must be.\n")
        state = read_checkpoint(offer.checkpoint)
        refused = self._untrusted(offer, state)
        if refused:
            return refused
        with self._alone:
            return self._decide(offer, state)

    def _untrusted(self, offer: Offer, state: Checkpoint) -> Answer | None:
        keys = [key for key in self._logs if key.name == state.origin]
        if not keys:
            return Answer(404, "This history is unknown here.\n")
        try:
            open_note(offer.checkpoint, keys)
        except LedgerError:
            return Answer(403, "No signing key trusted here signed this checkpoint.\n")
        if offer.old > state.size:
            return Answer(400, "The old size is larger than the checkpoint's.\n")
        return None

    def _decide(self, offer: Offer, state: Checkpoint) -> Answer:
        seen = self._folder.seen(state.origin)
        if offer.old != seen.size:
            return conflict(seen.size)
        if not _appends(offer, state, seen):
            # No evidence by itself: anybody can send a true checkpoint with another's proof.
            log.error("NOT shown to extend %s entries: %r", seen.size, offer.checkpoint)
            return Answer(422, f"This does not extend the {seen.size} entries cosigned here.\n")
        if state.size == seen.size and state.root != seen.root:
            log.error("ANOTHER tree of %s entries: %r", seen.size, offer.checkpoint)
            self._keep_evidence(offer)
            return Answer(409, f"Another tree of {seen.size} entries was cosigned here.\n")
        return self._cosigned(offer, state)

    def _cosigned(self, offer: Offer, state: Checkpoint) -> Answer:
        signed = self._as_trusted(offer.checkpoint)
        line = self._folder.cosigner.sign(read_note(signed).text)
        try:
            self._folder.keep(state.origin, Seen(state.size, state.root, signed + line))
        except FolderError as error:
            log.error("%s", error)
            return Answer(500, "The state could not be kept, so nothing was cosigned.\n")
        log.info("%s: cosigned %s entries", state.origin, state.size)
        return Answer(200, line)

    def _keep_evidence(self, offer: Offer) -> None:
        """A trusted key signed it, and it can't be true beside what was cosigned here."""
        try:
            self._folder.keep_refused(self._as_trusted(offer.checkpoint))
        except FolderError as error:
            log.error("%s", error)

    def _as_trusted(self, checkpoint: str) -> str:
        """The note with the signatures of trusted keys alone: others were not looked at, and enough
        of them would make it unreadable."""
        note = read_note(checkpoint)
        known = {(key.name, key.key_id) for key in self._logs}
        lines = dict.fromkeys(
            f"{DASH} {name} {base64_text(key_id + signature)}\n"
            for name, key_id, signature in note.signatures
            if (name, key_id) in known
        )
        return note.text + "\n" + "".join(lines)


def _appends(offer: Offer, state: Checkpoint, seen: Seen) -> bool:
    """Whether the proof holds. Equal sizes need none; their roots are compared after."""
    if state.size == 0:
        return not offer.proof and state.root == EMPTY_ROOT
    if state.size == seen.size:
        return not offer.proof
    return extends(
        old=seen.size,
        new=state.size,
        old_root=seen.root,
        new_root=state.root,
        proof=offer.proof,
    )
