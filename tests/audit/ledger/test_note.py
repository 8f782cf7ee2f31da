"""Notes and checkpoints: known keys hold or the note is refused; nothing malformed gets in."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.ledger.checkpoint import Checkpoint, Receipt, read_body, read_checkpoint, read_receipt
from audit.ledger.errors import LedgerError
from audit.ledger.merkle import leaf_hash, root
from audit.ledger.note import Signer, Verifier, open_note, read_note, sign_note

OLD, NEW = Signer("bar.example/history", b"\x01" * 32), Signer("bar.example/history", b"\x02" * 32)
ROOT = root([leaf_hash(b"a"), leaf_hash(b"b")])
NOTE = Checkpoint("bar.example/history", 2, ROOT).signed([OLD])


def test_a_checkpoint_reads_back() -> None:
    text, signed = open_note(NOTE, [NEW.verifier, OLD.verifier])
    assert read_body(text) == Checkpoint("bar.example/history", 2, ROOT)
    assert signed == [OLD.verifier]


def test_a_hand_over_is_signed_by_both() -> None:
    note = Checkpoint("bar.example/history", 2, ROOT).signed([OLD, NEW])
    assert open_note(note, [NEW.verifier])[1] == [NEW.verifier]
    assert open_note(note, [OLD.verifier, NEW.verifier])[1] == [OLD.verifier, NEW.verifier]


@given(st.integers(0, len(NOTE) - 1), st.characters(codec="utf-8"))
def test_no_changed_character_goes_unnoticed(at: int, sign: str) -> None:
    changed = NOTE[:at] + sign + NOTE[at + 1 :]
    if changed != NOTE:
        with pytest.raises(LedgerError):
            open_note(changed, [OLD.verifier])


def test_an_unknown_key_is_not_enough() -> None:
    with pytest.raises(LedgerError, match="known key"):
        open_note(NOTE, [NEW.verifier])


@pytest.mark.parametrize("text", ["", "no newline", "control\tsign\n", "\ud800\n"])
def test_text_no_note_can_carry(text: str) -> None:
    with pytest.raises(LedgerError):
        sign_note(text, [OLD])


@pytest.mark.parametrize("body", [
    "o\n1\n", "o\n01\nAA==\n", "\n1\nx\n", "o\n-1\nx\n", "o\n1\nAA==\n", "o\n1\n" + "A" * 43 + "=",
    "o\n\u0661\n" + "A" * 43 + "=\n", "o\n1\n" + "A" * 42 + "B=\n",
])  # fmt: skip
def test_malformed_checkpoints_are_refused(body: str) -> None:
    with pytest.raises(LedgerError):
        read_body(body)


@pytest.mark.parametrize("name", ["", "a b", "a+b", "a\nb", "a\u00a0b"])
def test_names_no_key_can_have(name: str) -> None:
    with pytest.raises(LedgerError, match="key name"):
        Signer.new(name)


def test_keys_read_back_and_a_wrong_secret_is_not_repeated() -> None:
    made = Signer.new("bar.example/history")
    assert Signer.read(made.secret_text) == made
    assert Verifier.read(made.verifier.text) == made.verifier
    broken = made.secret_text[:-4] + "AAA="
    with pytest.raises(LedgerError) as caught:
        Signer.read(broken)
    assert broken[-20:] not in str(caught.value)
    assert "seed" not in repr(made)


def test_a_receipt_reads_back_and_covers_only_its_leaf() -> None:
    receipt = Receipt(1, (leaf_hash(b"a"),), NOTE)
    again = read_receipt(receipt.text)
    assert again == receipt
    assert again.covers(leaf_hash(b"b"))
    assert not again.covers(leaf_hash(b"c"))
    extra = receipt.text.replace("index", "extra YQ==\nindex", 1)
    assert read_receipt(extra) == receipt
    for bad in ("", "x\n\n" + NOTE, receipt.text.replace("index 1", "index 01")):
        with pytest.raises(LedgerError):
            read_receipt(bad)


def test_unsigned_or_crowded_notes_are_refused() -> None:
    line = NOTE.rsplit("\n\n", 1)[1]
    for bad in ("text\n\n", "text\n", NOTE.rstrip("\n"), NOTE + line * 65):
        with pytest.raises(LedgerError):
            read_note(bad)
    assert read_checkpoint(NOTE).size == 2
