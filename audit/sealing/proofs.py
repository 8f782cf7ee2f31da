"""Proofs from the stored tree: that an entry is in a signed state, and that states only grew."""

from dataclasses import dataclass

from audit.errors import Invalid, NotFound
from audit.ledger.checkpoint import Receipt
from audit.ledger.errors import LedgerError
from audit.ledger.proof import Span, consistency_spans, inclusion_spans, needed, resolve
from audit.sealing.late import marked_late
from audit.sealing.models import Checkpoint
from audit.sealing.store import newest_checkpoint, nodes
from audit.sealing.store import place as index_of


@dataclass(frozen=True)
class Inclusion:
    """An entry's place: leaf `index` from 0, its stored hash, the way up, and what is signed."""

    index: int
    leaf: bytes
    proof: list[bytes]
    checkpoint: Checkpoint

    @property
    def receipt(self) -> str:
        """All of it as one text, c2sp.org/tlog-proof@v1."""
        return Receipt(self.index, tuple(self.proof), self.checkpoint.note).text


def inclusion(entry_id: int, under: Checkpoint | None = None) -> Inclusion | None:
    """The proof of an entry under the newest checkpoint; None while it is not sealed.

    With `under`, in that state instead, if it has the entry already.

    Raises NotFound if the stored tree lacks a part of the proof.
    """
    place = _index_and_state(entry_id)
    if place is None:
        return None
    index, state = place
    if under is not None and index < under.size <= state.size:
        state = under
    (leaf,) = _proof([Span(index, index + 1)])
    return Inclusion(index, leaf, _proof(inclusion_spans(index, state.size)), state)


@dataclass(frozen=True)
class Sealed:
    """Where an entry stands, for its page: its number from 1, the newest checkpoint, and the one
    that marks it as sealed late, if one does."""

    number: int
    checkpoint: Checkpoint
    late: Checkpoint | None = None


def place_of(entry_id: int) -> Sealed | None:
    """Where an entry stands, without the proof; None while it is not sealed."""
    place = _index_and_state(entry_id)
    if place is None:
        return None
    index, newest = place
    return Sealed(index + 1, newest, marked_late(index))


def consistency(old: int, new: int) -> list[bytes]:
    """The proof that the first `new` entries begin with the first `old`, as they were.

    Raises Invalid unless 0 <= old <= new <= entries signed for; NotFound before the first
    checkpoint, or if the stored tree lacks a part of the proof.
    """
    newest = newest_checkpoint()
    if newest is None:
        raise NotFound("Nothing was sealed yet.")
    if new > newest.size:
        raise Invalid("to", new, f"a number of entries up to {newest.size}")
    if old > new:
        raise Invalid("from", old, f"a number of entries up to {new}")
    return _proof(consistency_spans(old, new))


def _index_and_state(entry_id: int) -> tuple[int, Checkpoint] | None:
    index, newest = index_of(entry_id), newest_checkpoint()
    if index is None or newest is None or index >= newest.size:
        return None
    return index, newest


def _proof(spans: list[Span]) -> list[bytes]:
    try:
        return resolve(spans, nodes(needed(spans)))
    except LedgerError as error:
        raise NotFound(f"The proof can't be made, check the history: {error}") from error
