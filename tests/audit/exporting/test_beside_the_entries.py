"""What lies beside the entries is found as well: every column of a checkpoint, those that were
removed, and keys put among the others; here, and offline from an export."""

import pytest

from audit.exporting import bundle as module
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Kind, Report
from audit.ledger.note import Signer
from audit.sealing.keys import DamagedError, origin, verifiers
from audit.sealing.models import Checkpoint, LedgerKey
from audit.sealing.rotate import rotate
from audit.sealing.seal import seal
from tests.audit.sample import run
from tests.audit.sealed import last_checkpoint, newest_stamp, shelves, signed_anew, unguarded

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


@pytest.fixture(autouse=True)
def history(only_ours: None) -> None:
    """Entries sealed in four batches."""
    for batch in (3, 20, 1, 9):
        shelves(batch)
        seal()


def told(report: Report) -> str:
    return "\n".join(report.lines())


COLUMNS = {
    "size": "size + 1", "root": "sha256(root)", "floor_txid": "floor_txid - 1",
    "floor_id": "floor_id - 1", "made_at": "made_at + interval '1 microsecond'",
    "note": "replace(note, E'\\nfloor ', E'\\nfloor 1')",
}  # fmt: skip


@pytest.mark.parametrize("column", COLUMNS)
@pytest.mark.parametrize("at", [0, 2, 3])
def test_every_column_of_every_checkpoint(column: str, at: int) -> None:
    assert verify(bundle()).intact
    pk = Checkpoint.objects.order_by("id")[at].pk
    unguarded(f"UPDATE audit_checkpoint SET {column} = {COLUMNS[column]} WHERE id = %s", pk)
    assert not verify(bundle()).intact


def test_no_column_is_left_out() -> None:
    """`promise` says nothing of the history: altered, it stops the signer (test_appending)."""
    columns = {field.column for field in Checkpoint._meta.concrete_fields}
    assert columns == {"id", "promise", *COLUMNS}


@pytest.mark.parametrize("column", ["made_at", "floor_txid", "floor_id"])
def test_nothing_more_is_signed_on_the_altered_newest(column: str) -> None:
    pk = last_checkpoint().pk
    unguarded(f"UPDATE audit_checkpoint SET {column} = {COLUMNS[column]} WHERE id = %s", pk)
    shelves(1)
    with pytest.raises(DamagedError, match="the row was changed"):
        seal()


@pytest.mark.parametrize("at", [0, 1, 2])
def test_a_removed_older_checkpoint(at: int) -> None:
    unguarded(
        "DELETE FROM audit_checkpoint WHERE id = %s", Checkpoint.objects.order_by("id")[at].pk
    )
    report = verify(bundle())
    assert not report.intact
    assert "1 of the 4 checkpoints were removed" in told(report)


def test_the_removed_newest_is_known_to_the_signer() -> None:
    kept = last_checkpoint()
    signed_anew()
    unguarded("DELETE FROM audit_checkpoint WHERE id > %s", kept.pk)
    assert seal() == 0  # it signs the very same again
    assert newest_stamp().number == 5
    signed_anew()
    unguarded("DELETE FROM audit_checkpoint WHERE id > %s", kept.pk)
    with pytest.raises(DamagedError, match="newer than the database's newest"):
        seal()


def test_of_very_many_some_are_exported_and_every_odd_or_marking_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "ALL_UP_TO", 2)
    report = verify(bundle())
    assert report.intact
    assert "of 4 checkpoints are in this file" in told(report)
    pk = Checkpoint.objects.order_by("id")[1].pk
    unguarded("UPDATE audit_checkpoint SET floor_id = 3 WHERE id = %s", pk)
    assert not verify(bundle()).intact


def test_a_removed_checkpoint_that_marked_an_entry(monkeypatch: pytest.MonkeyPatch) -> None:
    unguarded(
        "INSERT INTO audit_entry (at, txid, operation, changes)"
        " VALUES (now() - interval '1 day', 3, 'created', '{}')"
    )
    seal(beneath=True)
    assert newest_stamp().marked == 1
    marking = last_checkpoint().pk
    shelves(2)
    seal()
    monkeypatch.setattr(module, "ALL_UP_TO", 2)
    assert "1 of them was SEALED LATE" in told(verify(bundle()))
    unguarded("DELETE FROM audit_checkpoint WHERE id = %s", marking)
    report = verify(bundle())
    assert not report.intact
    assert "a checkpoint with a mark was removed" in told(report)


@pytest.mark.parametrize("where", [0, 1000])
@pytest.mark.parametrize("recorded", [False, True])
def test_an_added_public_key(where: int, recorded: bool) -> None:
    rotate(by=None, lost=False, reason="a year is over")
    seal()
    assert verify(bundle()).intact
    own = LedgerKey.objects.order_by("id").values_list("public", flat=True).first()
    other = Signer.new(origin()).verifier.text
    add = f"INSERT INTO audit_ledgerkey (id, public, replaces) VALUES ({where}, %s, %s)"
    if recorded:
        run(add, other, own)
    else:
        unguarded(add, other, own)
    report = verify(bundle())
    assert not report.intact
    assert Kind.FORGED in {one.kind for one in report.findings}


def test_a_removed_public_key() -> None:
    rotate(by=None, lost=False, reason="a year is over")
    seal()
    keys = verifiers()
    unguarded("DELETE FROM audit_ledgerkey WHERE id = (SELECT max(id) FROM audit_ledgerkey)")
    assert "signed by no key known here" in told(verify(bundle()))
    report = verify(bundle(), keys=keys)
    assert not report.intact
    assert "was made, and is not among those named" in told(report)
