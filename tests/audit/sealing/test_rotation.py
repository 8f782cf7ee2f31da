"""A new key is handed over by the old one, and the history tells of both."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from audit.capture.models import Entry
from audit.ledger.note import open_note
from audit.sealing import rotate as module
from audit.sealing.keys import KEY_ROTATED, SealingError, next_file, read, signer, verifiers
from audit.sealing.models import LedgerKey
from audit.sealing.rotate import rotate
from audit.sealing.seal import seal
from tests.audit.sealed import last_checkpoint, shelves

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


def test_both_keys_sign_the_state_at_the_handover() -> None:
    shelves(3)
    seal()
    old = signer()
    out = StringIO()
    call_command("rotate_ledger_key", "--reason", "a year is over", stdout=out)
    new = signer()
    assert out.getvalue().strip() == new.verifier.text != old.verifier.text
    assert open_note(last_checkpoint().note, verifiers())[1] == [old.verifier, new.verifier]
    told = Entry.objects.get(action=KEY_ROTATED)
    assert told.changes["replaces"] == [None, old.verifier.text]
    assert told.changes["public"] == [None, new.verifier.text]
    assert told.reason == "a year is over"
    shelves(1)
    seal()
    assert open_note(last_checkpoint().note, verifiers())[1] == [new.verifier]


def test_a_crash_between_the_history_and_the_file_is_mended(key_file: Path) -> None:
    shelves(1)
    seal()
    kept = key_file.read_text()
    new = rotate(by=None, lost=False, reason="r")
    key_file.replace(next_file())  # as if the last step had not been taken
    key_file.write_text(kept)
    assert signer() == new
    assert read(key_file) == new
    assert not next_file().exists()


def test_a_crash_before_the_history_knows_changes_nothing(
    monkeypatch: pytest.MonkeyPatch, key_file: Path
) -> None:
    shelves(1)
    seal()
    before = signer()
    monkeypatch.setattr(module, "sign", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        rotate(by=None, lost=False, reason="r")
    assert signer() == before
    assert LedgerKey.objects.count() == 1
    monkeypatch.undo()
    assert rotate(by=None, lost=False, reason="r") == signer() != before


def test_a_lost_key_is_replaced_only_when_told_so(key_file: Path) -> None:
    with pytest.raises(SealingError, match="nothing was sealed"):
        rotate(by=None, lost=False, reason="r")
    shelves(1)
    seal()
    with pytest.raises(SealingError, match="not lost"):
        rotate(by=None, lost=True, reason="r")
    key_file.unlink()
    with pytest.raises(CommandError, match="--lost"):
        call_command("rotate_ledger_key", "--reason", "r")
    new = rotate(by=None, lost=True, reason="the disk broke")
    assert open_note(last_checkpoint().note, verifiers())[1] == [new.verifier]
