"""Cosignatures: our bytes held against an implementation that shares nothing with ours."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.ledger.errors import LedgerError
from audit.ledger.note import Signer, Verifier
from audit.ledger.witness.cosignature import (
    LATEST,
    Cosigner,
    WitnessKey,
    cosignatures,
    message,
    time_of,
)
from tests.audit.ledger.witness.independent import cosigned_at, signed_by
from tests.audit.ledger.witness.logs import SECOND, WITNESS, Log
from tests.services import rounds

BODY = Log().body(5)
NOTE = Log().checkpoint(5)
LINE = WITNESS.cosign(BODY, 1_679_315_147)


def test_the_second_witness_knows_a_signature_of_rfc_8032() -> None:
    """Its own check value: section 7.1, TEST 2 (from memory; the cryptography package agrees)."""
    public = bytes.fromhex("3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c")
    signature = bytes.fromhex(
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
    )
    assert signed_by(public, signature, b"\x72")
    assert not signed_by(public, signature, b"\x73")


@settings(max_examples=rounds(200, 5), database=None)
@given(
    st.integers(0, LATEST),
    st.integers(0, 20),
    st.lists(st.from_regex(r"\A[!-~]{1,30}\Z"), max_size=4),
)
def test_what_we_sign_the_second_witness_reads(at: int, size: int, lines: list[str]) -> None:
    body = Log(lines=lines).body(size)
    line = WITNESS.cosign(body, at)
    assert cosigned_at(WITNESS.verifier.text, body, line) == at
    assert cosigned_at(SECOND.verifier.text, body, line) is None
    assert cosigned_at(WITNESS.verifier.text, body + "more\n", line) is None


def test_extension_lines_are_signed_too() -> None:
    timed = Log(lines=["time 2026-11-28T12:00:00Z"])
    note = timed.checkpoint(5) + WITNESS.cosign(timed.body(5), 7)
    assert [one.at for one in cosignatures(note, [WITNESS.verifier])] == [7]
    with pytest.raises(LedgerError, match="one that holds"):
        cosignatures(note.replace("12:00", "12:01"), [WITNESS.verifier])


def test_whose_and_when() -> None:
    later = WITNESS.cosign(BODY, 1_679_315_200)
    note = NOTE + LINE + SECOND.cosign(BODY, 9) + later
    found = cosignatures(note, [SECOND.verifier, WITNESS.verifier])
    assert [(one.witness, one.at) for one in found] == [
        (WITNESS.verifier, 1_679_315_200), (SECOND.verifier, 9),
    ]  # fmt: skip
    assert found[0].line == later
    assert cosignatures(NOTE, [WITNESS.verifier]) == []


@settings(max_examples=rounds(3000, 300), database=None)
@given(st.integers(0, len(NOTE + LINE) - 1), st.characters(codec="utf-8"))
def test_no_changed_character_passes_as_cosigned(at: int, sign: str) -> None:
    whole = NOTE + LINE
    changed = whole[:at] + sign + whole[at + 1 :]
    try:
        found = cosignatures(changed, [WITNESS.verifier])
    except LedgerError:
        return
    # What still holds is the same body cosigned: another line than the witness's was changed.
    assert not found or changed.startswith(BODY + "\n")


def test_keys_read_back_and_are_not_signing_keys() -> None:
    text = WITNESS.verifier.text
    assert WitnessKey.read(text) == WITNESS.verifier
    assert Cosigner.read(WITNESS.secret_text).seed == WITNESS.seed
    plain = Signer(WITNESS.name, WITNESS.seed)
    assert plain.verifier.key_id != WITNESS.verifier.key_id
    with pytest.raises(LedgerError):
        Verifier.read(text)
    with pytest.raises(LedgerError):
        WitnessKey.read(plain.verifier.text)
    with pytest.raises(LedgerError):
        Cosigner.read(plain.secret_text)
    with pytest.raises(LedgerError):
        Signer.read(WITNESS.secret_text)
    assert cosignatures(NOTE + plain.sign(BODY), [WITNESS.verifier]) == []


@pytest.mark.parametrize("at", [-1, LATEST + 1])
def test_no_time_beyond_what_the_format_holds(at: int) -> None:
    with pytest.raises(LedgerError, match="time"):
        message(BODY, at)
    assert time_of(bytes(72)) == 0
    assert time_of(bytes(71)) is None
    assert time_of(b"\xff" * 72) is None
