"""Who saw which state: cosignatures in a bundle, a quorum asked for, and a split view found."""

from collections.abc import Sequence
from pathlib import Path

import pytest

from audit.ledger.__main__ import main
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Kind
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.note import read_note
from audit.ledger.witness.cosignature import Cosigner, WitnessKey
from tests.audit.ledger.histories import KEY, History, sealed
from tests.audit.ledger.witness.logs import SECOND, WITNESS

FIRST_AT, LATER_AT = 1_700_000_000, 1_700_000_600
ONE, TWO = WITNESS.verifier, SECOND.verifier


def cosign(history: History, which: int, *cosigners: Cosigner, at: int = FIRST_AT) -> None:
    """Let them cosign a checkpoint of it, by its number from 0."""
    text = read_note(history.checkpoints[which]).text
    history.checkpoints[which] += "".join(one.cosign(text, at) for one in cosigners)


def seen() -> History:
    """30 entries: 10 seen by both witnesses, 20 by the first alone, 30 by nobody."""
    history = sealed(10, 10, 10)
    cosign(history, 0, WITNESS, SECOND)
    cosign(history, 1, WITNESS, at=LATER_AT)
    return history


def first_line(history: History, witnesses: Sequence[WitnessKey], quorum: int | None = None) -> str:
    report = verify(history.bundle(), keys=[KEY.verifier], witnesses=witnesses, quorum=quorum)
    return next(report.lines())


def test_the_verdict_says_up_to_where_enough_of_them_saw_it() -> None:
    history = seen()
    assert "witness" not in first_line(history, [])
    line = first_line(history, [ONE, TWO])
    assert "is intact" in line
    assert "Seen by 2 of 2 witnesses up to entry no. 10, and not yet the 20 after it." in line
    assert "Seen by 1 of 2 witnesses up to entry no. 20" in first_line(history, [ONE, TWO], 1)
    assert "Seen by 1 of 1 witnesses up to entry no. 10" in first_line(history, [TWO])
    cosign(history, 2, WITNESS)
    assert "up to entry no. 30." in first_line(history, [ONE])


def test_each_witness_with_what_it_saw_and_when() -> None:
    report = verify(seen().bundle(), keys=[KEY.verifier], witnesses=[ONE, TWO])
    words = [one.words for one in report.findings if one.kind is Kind.NOTE]
    assert (
        f"the witness {ONE.name}+{ONE.key_id.hex()} saw the first 20 entries, at 2023-11-14 "
        in ("\n".join(words))
    )
    assert "saw the first 10 entries, at 2023-11-14 22:13:20 UTC" in words[1]
    assert report.intact


def test_cosignatures_nobody_asked_to_check_are_named_and_not_believed() -> None:
    report = verify(seen().bundle(), keys=[KEY.verifier], witnesses=[ONE])
    assert any("cosigned also by office.example/witness: not checked" in one.words
               for one in report.findings)  # fmt: skip
    without = verify(seen().bundle(), keys=[KEY.verifier])
    assert (without.intact, without.unseen, without.witnessed) == (True, False, None)


def test_a_cosignature_that_does_not_hold_is_forged() -> None:
    history = sealed(10)
    text = read_note(history.checkpoints[0]).text
    history.checkpoints[0] += WITNESS.cosign(text.replace("10", "11"), FIRST_AT)
    report = verify(history.bundle(), keys=[KEY.verifier], witnesses=[ONE])
    assert [one.kind for one in report.findings if one.kind is not Kind.NOTE] == [Kind.FORGED]
    assert report.unseen


def test_another_key_of_the_witness_s_name_does_not_count() -> None:
    history = sealed(10)
    cosign(history, 0, Cosigner(WITNESS.name, b"\x55" * 32))
    assert "NOT seen by 1 of 1 witnesses: 0 cosigned" in first_line(history, [ONE])


def forged(history: History, number: int) -> History:
    """The same history with one entry another and everything signed anew, by who has the key."""
    other = History(signers=history.signers)
    batches = [read_checkpoint(note).size for note in history.checkpoints]
    for before, size in zip([0, *batches], batches, strict=False):
        other.seal(size - before, altered=number)
    return other


def test_a_split_view_is_found() -> None:
    """Who has the signing key shows one history to each witness: no bundle fits both."""
    shown = sealed(10, 10)
    hidden = forged(shown, 14)
    cosign(shown, 1, WITNESS)
    cosign(hidden, 1, SECOND)
    for history in (shown, hidden):
        line = first_line(history, [ONE, TWO])
        assert "is intact" in line
        assert "NOT seen by 2 of 2 witnesses: 1 cosigned a state of it." in line
    kept = hidden.checkpoints[1]  # what the second witness itself shows
    report = verify(shown.bundle(), keys=[KEY.verifier], since=[kept], witnesses=[ONE, TWO])
    assert Kind.REWRITTEN in {one.kind for one in report.findings}
    assert not report.intact


def test_a_rewritten_history_has_no_witness_though_its_key_is_right() -> None:
    true = sealed(20, 10)
    cosign(true, 1, WITNESS)
    anew = forged(true, 3)
    assert "NOT seen by 1 of 1 witnesses" in first_line(anew, [ONE])
    anew.checkpoints[1] += true.checkpoints[1].splitlines(keepends=True)[-1]
    report = verify(anew.bundle(), keys=[KEY.verifier], witnesses=[ONE])
    assert Kind.FORGED in {one.kind for one in report.findings}
    assert report.unseen


def test_what_a_witness_shows_counts_when_the_bundle_carries_no_cosignature() -> None:
    history = sealed(20, 10)
    text = read_note(history.checkpoints[0]).text
    kept = history.checkpoints[0] + WITNESS.cosign(text, FIRST_AT)
    report = verify(history.bundle(), keys=[KEY.verifier], since=[kept], witnesses=[ONE])
    assert (report.intact, report.witnessed) == (True, 20)


def test_one_key_under_two_names_is_not_two_witnesses() -> None:
    twice = [ONE, WitnessKey("another.example", ONE.public)]
    with pytest.raises(LedgerError, match="each key once"):
        verify(seen().bundle(), witnesses=twice)
    for quorum in (0, 3):
        with pytest.raises(LedgerError, match="quorum"):
            verify(seen().bundle(), witnesses=[ONE, TWO], quorum=quorum)


def test_the_exit_says_whether_enough_witnesses_saw_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bundle = tmp_path / "history.jsonl"
    bundle.write_bytes(b"".join(seen().bundle()))
    key = ["verify", str(bundle), "--key", KEY.verifier.text]
    third = Cosigner("third.example", b"\x44" * 32).verifier
    both = ["--witness", ONE.text, "--witness", TWO.text]
    assert main([*key, *both]) == 0
    assert "Seen by 2 of 2 witnesses" in capsys.readouterr().out.splitlines()[0]
    assert main([*key, *both, "--witness", third.text]) == 5
    assert "NOT seen by 3 of 3 witnesses: 2" in capsys.readouterr().out.splitlines()[0]
    assert main([*key, *both, "--witness", third.text, "--quorum", "2"]) == 0
    assert main(["verify", str(bundle), *both]) == 3
    assert main(["verify", str(bundle), "--witness", third.text]) == 5
    assert main([*key, *both, "--quorum", "3"]) == 2
    assert main([*key, "--witness", KEY.verifier.text]) == 2
    bundle.write_bytes(bundle.read_bytes().replace(b"Head roaster", b"Barista", 1))
    assert main([*key, "--witness", third.text]) == 1
