"""Offering the newest checkpoint to each witness, and keeping what it answers.

Apart from sealing, which never waits for a witness: a task of its own, one at a time, each witness
within seconds. Every step may be repeated: a cosignature kept twice does no harm.
"""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from django.conf import settings
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import NotFound
from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.witness.cosignature import cosignatures
from audit.ledger.witness.known import KnownWitness
from audit.ledger.witness.protocol import Answer, Offer
from audit.quick import quick
from audit.sealing.keys import verifiers
from audit.sealing.models import Checkpoint
from audit.sealing.proofs import consistency
from audit.sealing.store import newest_checkpoint
from audit.vocabulary import register
from audit.witnessing.asking import SilentError, ask
from audit.witnessing.models import Cosignature, WitnessEvent, WitnessEventKind
from audit.witnessing.standing import has, newest_event, newest_seen

TRIES = 3  # offers to one witness in one go: it may stand elsewhere than we know
CLOCKS = 600  # seconds that a witness's clock may be off until its word is not taken
PAUSE = 30  # seconds until one that gave no cosignature is asked again
ALONE = 120  # seconds after which an offering that was killed does not hold up the next
log = logging.getLogger(__name__)

ACTIONS = {
    WitnessEventKind.REFUSED: register("witness.refused", "Refused by a witness"),
    WitnessEventKind.SILENT: register("witness.silent", "Got no cosignature"),
    WitnessEventKind.COSIGNS: register("witness.cosigns", "Cosigned by a witness"),
}


class WitnessRefusedError(Exception):
    """The witness saw another history than this one; the message says what it saw."""


def offer_newest() -> int:
    """Offer the newest checkpoint to every witness that has not cosigned it; how many did now."""
    newest = newest_checkpoint()
    if newest is None or not settings.LEDGER_WITNESSES:
        return 0
    with _alone() as alone:
        return sum(_offered(known, newest) for known in settings.LEDGER_WITNESSES) if alone else 0


@contextmanager
def _alone() -> Iterator[bool]:
    alone = bool(quick.add("audit:offering", 1, timeout=ALONE))
    try:
        yield alone
    finally:
        if alone:
            quick.delete("audit:offering")


def _offered(known: KnownWitness, newest: Checkpoint) -> bool:
    pause = f"audit:offering:{known.key.key_id.hex()}"
    if quick.get(pause) or has(known, newest):
        return False
    # Before asking: one that holds an offering up until it is killed waits as well.
    quick.set(pause, 1, timeout=PAUSE)
    try:
        row = offer(known, newest)
    except WitnessRefusedError as refused:
        _note(known, WitnessEventKind.REFUSED, str(refused))
        return False
    except SilentError as silent:
        log.warning("The witness %s gave no cosignature: %s", known.label, silent)
        if _late(known):
            _note(known, WitnessEventKind.SILENT, str(silent))
        return False
    quick.delete(pause)
    row.save(force_insert=True)
    _note(known, WitnessEventKind.COSIGNS, f"It cosigned the first {row.size:,} entries.")
    return True


def offer(known: KnownWitness, newest: Checkpoint) -> Cosignature:
    """The witness's cosignature over the newest checkpoint, checked and not stored.

    Starts from where the witness stands, whatever we thought. Raises WitnessRefusedError if it
    says that it saw another history, SilentError if it gives nothing that can be used.
    """
    seen = newest_seen(known)
    old = seen.size if seen else 0
    for _ in range(TRIES):
        if old > newest.size:
            newest = _newer(newest, old)
        answer = ask(known.url, _offer(newest, old).text.encode())
        if answer.status == 200:
            return _checked(known, newest, answer)
        if answer.size is None or answer.size == old:
            raise _why(answer, old, newest)
        old = answer.size
    raise SilentError("it stands elsewhere each time it is asked")


def _offer(newest: Checkpoint, old: int) -> Offer:
    try:
        return Offer(old, tuple(consistency(old, newest.size)), newest.note)
    except (NotFound, LedgerError) as error:
        raise SilentError(f"nothing can be offered: {error}") from error


def _newer(newest: Checkpoint, old: int) -> Checkpoint:
    """A checkpoint of at least so many entries: more may have been sealed since."""
    again = newest_checkpoint()
    if again is None or again.size < old:
        raise WitnessRefusedError(
            f"It cosigned {old:,} entries, and only {newest.size:,} are signed here: the end was "
            "cut off, or the database was restored from a backup."
        )
    return again


def _why(answer: Answer, old: int, newest: Checkpoint) -> Exception:
    if answer.status == 422:
        return WitnessRefusedError(
            f"The {newest.size:,} entries signed here do not extend the {old:,} it cosigned: this "
            "is not the history it saw."
        )
    if answer.status == 409 and old == newest.size:
        return WitnessRefusedError(f"It cosigned {old:,} entries that are not those signed here.")
    if answer.status == 404:
        key = verifiers()[-1].text
        return SilentError(f"it does not know this history: start it with --log {key}")
    if answer.status == 403:
        key = verifiers()[-1].text
        return SilentError(f"it does not know the signing key: start it with --log {key}")
    return SilentError(f"it answered {answer.status}")


def _checked(known: KnownWitness, newest: Checkpoint, answer: Answer) -> Cosignature:
    try:
        found = cosignatures(newest.note + answer.body, [known.key])
        state: State = read_checkpoint(newest.note)
    except LedgerError as error:
        raise SilentError(f"its answer can't be used: {error}") from error
    if not found or state.size != newest.size:
        raise SilentError("its answer has no cosignature by its key")
    off = found[0].at - timezone.now().timestamp()
    if abs(off) > CLOCKS:
        raise SilentError(f"its clock is {off:+,.0f} s off from ours: set it")
    return Cosignature(
        checkpoint_id=newest.pk,
        size=state.size,
        witness=known.key.text,
        line=found[0].line,
        at=datetime.fromtimestamp(found[0].at, UTC),
    )


def _late(known: KnownWitness) -> bool:
    """Whether it has been silent for long: one lost answer is not worth an entry."""
    seen = newest_seen(known)
    if seen is None:
        return True
    after = Checkpoint.objects.filter(size__gt=seen.size).order_by("size").first()
    if after is None:
        return False
    return (timezone.now() - after.made_at).total_seconds() > settings.LEDGER_WITNESS_LATE


def _note(known: KnownWitness, kind: WitnessEventKind, words: str) -> None:
    """Into the history, where it is another thing than the last time."""
    last = newest_event(known)
    if last is None or last.kind != kind:
        (log.error if kind is WitnessEventKind.REFUSED else log.info)("%s: %s", known.label, words)
        with recorded(by=None, action=ACTIONS[kind], reason=words):
            WitnessEvent.objects.create(kind=kind, witness=known.key.text, words=words)
