"""Every committed entry is sealed once, in order, and signed for; and nothing else is."""

import os
import stat
from pathlib import Path

import pytest

from audit.capture.models import Entry
from audit.exporting.bundle import payloads
from audit.ledger.bundle.write import Run
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.merkle import leaf_hash, root
from audit.ledger.note import Verifier, open_note
from audit.sealing import seal as module
from audit.sealing import store
from audit.sealing.keys import KEY_MADE, DamagedError, KeyMissingError, origin
from audit.sealing.models import Checkpoint, Leaf, LedgerKey, Node
from audit.sealing.seal import seal
from tests.audit.sealed import last_checkpoint, leaf_hashes, sealed_ids, shelves, unguarded

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


def test_entries_are_sealed_once_and_in_order() -> None:
    shelves(25)
    assert seal(batch=10) == 26  # with the entry that tells of the key, made by the first batch
    shelves(3)
    assert seal() == 3
    assert seal() == 0
    ordered = Entry.objects.order_by("txid", "id").values_list("id", flat=True)
    assert sealed_ids() == list(ordered)
    assert list(Checkpoint.objects.order_by("id").values_list("size", flat=True)) == [
        10,
        20,
        26,
        29,
    ]


def test_the_root_is_that_of_the_stored_leaves_and_the_note_is_signed() -> None:
    shelves(13)
    seal()
    made = last_checkpoint()
    leaves = leaf_hashes()
    state = read_checkpoint(made.note)
    assert (state.size, state.root, state.origin) == (13, root(leaves), origin())
    assert bytes(made.root) == state.root
    key = Verifier.read(LedgerKey.objects.get().public)
    assert open_note(made.note, [key])[1] == [key]
    rows = list(Node.objects.order_by("level").values_list("level", "hashes"))
    assert [(level, len(joined) // 32) for level, joined in rows] == [(1, 6), (2, 3), (3, 1)]
    assert Leaf.objects.count() == 1


def test_the_key_is_made_once_outside_the_database(key_file: Path) -> None:
    shelves(1)
    seal()
    assert stat.S_IMODE(key_file.stat().st_mode) == 0o600
    secret = key_file.read_text().strip()
    told = Entry.objects.get(action=KEY_MADE)
    assert told.changes["public"] == [None, LedgerKey.objects.get().public]
    assert secret.rpartition("+")[2] not in str(list(Entry.objects.values()))
    beside = {f"{key_file.name}.lock", f"{key_file.name}.state"}
    assert set(os.listdir(key_file.parent)) == {key_file.name} | beside
    seal()
    assert key_file.read_text().strip() == secret


def test_without_the_key_nothing_is_sealed(key_file: Path) -> None:
    shelves(1)
    seal()
    kept = key_file.read_text()
    key_file.unlink()
    shelves(1)
    before = store.size()
    with pytest.raises(KeyMissingError, match="--lost"):
        seal()
    key_file.write_text("no key")
    with pytest.raises(KeyMissingError, match="can't be read"):
        seal()
    assert store.size() == before
    key_file.write_text(kept)
    assert seal() == 2


def test_nothing_is_signed_on_a_damaged_tree() -> None:
    shelves(4)
    seal()
    unguarded("UPDATE audit_leaf SET hashes = sha256('') WHERE index = 3")
    shelves(1)
    # Its leaf is not on the frontier of four; the node above it is, and still holds.
    assert seal() == 2
    unguarded("DELETE FROM audit_leaf WHERE index = 5")
    shelves(1)
    with pytest.raises(DamagedError):
        seal()


def test_a_batch_is_whole_or_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    shelves(4)
    monkeypatch.setattr(module, "sign", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        seal()
    assert (store.size(), Node.objects.count(), LedgerKey.objects.count()) == (0, 0, 0)
    monkeypatch.undo()
    assert seal() == 4


def test_leaf_hashes_come_from_the_columns() -> None:
    shelves(2)
    seal()
    (run,) = payloads(0, 2)
    assert isinstance(run, Run)
    made = [leaf_hash(payload) for payload in run.payloads]
    assert len(made) == 2
    assert made == leaf_hashes()
