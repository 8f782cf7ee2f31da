"""What may find a tampering, in the order in which it is asked; the first that does is counted."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from django.db import DEFAULT_DB_ALIAS, DatabaseError, transaction

from audit.capture.installed import GUARDS
from audit.capture.models import Entry
from audit.checking.tree import check_tree
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Kind
from audit.ledger.note import Verifier
from audit.reconciling.reconcile import reconcile
from audit.reconciling.report import Kind as Difference
from audit.sealing.keys import SealingError
from audit.sealing.seal import seal
from audit.sealing.store import newest_checkpoint
from audit.witnessing.offering import WitnessRefusedError, offer
from tests.audit.soak.hands import Hands, Who
from tests.audit.soak.ways import Way
from tests.audit.witnessing.conftest import Witness

REFUSED, RECORDED, STOPS, CHECK = "refused", "recorded", "sealing stops", "check"
RECONCILED, NOT_FOUND = "reconciliation", "not found"
KEPT, WITNESS = "check with the checkpoint", "witness refuses"
DATABASE = "database"  # who acts where nobody says who does
OUTSIDE = ("nothing", "checkpoint", "witness")


@dataclass
class Outside:
    """What an owner keeps outside: the signing key written down, the last checkpoint, archives;
    and a witness that saw that checkpoint."""

    key: Verifier
    checkpoint: str
    archives: dict[str, list[bytes]]
    witness: Witness
    differs_anyway: set[str] = field(default_factory=set)


def outcome(way: Way, hands: Hands, outside: Outside) -> dict[str, str]:
    """Do it, ask everybody, and undo it: who found it with nothing kept, and with the checkpoint.

    Raises NothingDoneError if there was nothing to do.
    """
    with transaction.atomic():
        found = _outcome(way, hands, outside)
        transaction.set_rollback(True)
    return found


def _outcome(way: Way, hands: Hands, outside: Outside) -> dict[str, str]:
    before = Entry.objects.latest("id").pk
    try:
        with transaction.atomic():
            way.do(hands)
    except DatabaseError:
        return dict.fromkeys(OUTSIDE, REFUSED)
    if hands.who is Who.PROGRAM and Entry.objects.filter(pk__gt=before, actor=DATABASE).exists():
        return dict.fromkeys(OUTSIDE, RECORDED)
    if alone := _alone(outside):
        return dict.fromkeys(OUTSIDE, alone)
    kept, witness = _kept(outside), _witness(outside)
    return dict(zip(OUTSIDE, (NOT_FOUND, kept or NOT_FOUND, witness or NOT_FOUND), strict=True))


def _alone(outside: Outside) -> str:
    try:
        while seal():
            pass
    except SealingError:
        return STOPS
    if not _intact(outside):
        return CHECK
    return RECONCILED if differences() - outside.differs_anyway else ""


def _kept(outside: Outside) -> str:
    return "" if _intact(outside, outside.checkpoint) else KEPT


def _witness(outside: Outside) -> str:
    """The newest checkpoint is offered to the witness, over HTTP; it forgets that afterwards."""
    newest, folder = newest_checkpoint(), outside.witness.folder
    seen = dict(folder._seen)
    try:
        offer(outside.witness.known, newest) if newest else None
    except WitnessRefusedError:
        return WITNESS
    finally:
        folder._seen = seen
    return ""


def _intact(outside: Outside, *since: str) -> bool:
    report = verify(bundle(), keys=[outside.key], since=since, archives=outside.archives)
    check_tree(report)
    return report.intact and not any(one.kind is Kind.LATE for one in report.findings)


def differences() -> set[str]:
    """What a reconciliation says now, each difference in words; of guards every one, as those that
    the tests' own tables and roles bring would take all the room there is in its answer."""
    rows = {
        f"{one.kind} {one.table} {one.row} {one.column}"
        for one in reconcile().differences
        if one.kind is not Difference.GUARD
    }
    return rows | {words for look in GUARDS for words in look(DEFAULT_DB_ALIAS)}


@contextmanager
def beside_the_key(folder: Path) -> Iterator[None]:
    """What the signer keeps in its folder is put back."""
    kept = {file: file.read_bytes() for file in folder.iterdir()}
    yield
    for file in folder.iterdir():
        if file not in kept:
            file.unlink()
    for file, content in kept.items():
        file.write_bytes(content)
