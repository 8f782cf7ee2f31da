"""A bundle proves itself, whole or in part, and damage is named by entry."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Kind, Report
from audit.ledger.bundle.write import Leaf, bundle_lines
from audit.ledger.checkpoint import Checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.merkle import Frontier, leaf_hash
from audit.ledger.note import Signer
from tests.audit.ledger.histories import KEY, ORIGIN, History, entry, sealed

HISTORY = sealed(10, 300, 5, 200)
NEW_KEY = Signer(ORIGIN, b"\x08" * 32)


def check(lines: list[bytes], since: Sequence[str] = ()) -> Report:
    return verify(lines, keys=[KEY.verifier], since=since)


def found(report: Report) -> list[tuple[str, int | None]]:
    return [(one.kind.value, one.first) for one in report.findings if one.kind is not Kind.NOTE]


def place(lines: list[bytes], number: int) -> int:
    """Line of entry no. `number`."""
    return lines.index(entry(number) + b"\n")


@given(st.lists(st.integers(1, 400), min_size=1, max_size=4))
def test_every_history_is_intact(batches: list[int]) -> None:
    history = sealed(*batches)
    report = check(history.bundle(), since=history.checkpoints)
    assert report.intact
    assert report.size == report.entries == report.proven == sum(batches)
    assert report.checkpoints == len(batches)


def test_a_long_stretch_takes_several_lines_of_fingerprints() -> None:
    lines = sealed(2500).bundle()
    assert sum(line.startswith(b'["fingerprints"') for line in lines) == 3
    assert check(lines).intact
    lines.insert(place(lines, 2200), lines.pop(place(lines, 100)))
    assert found(check(lines)) == [("re-ordered", 100)]


@given(st.sets(st.integers(0, 514)))
def test_a_part_proves_its_place(chosen: set[int]) -> None:
    report = check(HISTORY.bundle(only=sorted(chosen)), since=HISTORY.checkpoints)
    assert report.intact
    assert (report.entries, report.size) == (len(chosen), 515)


def test_a_removed_entry_is_named() -> None:
    lines = HISTORY.bundle()
    del lines[place(lines, 18)]
    assert found(check(lines)) == [("missing", 18)]


def test_an_altered_entry_is_named_and_read_out() -> None:
    lines = HISTORY.bundle()
    at = place(lines, 400)
    lines[at] = lines[at].replace(b"Head roaster", b"Barista")
    report = check(lines)
    assert found(report) == [("altered", 400)]
    assert "Entry no. 400" in report.findings[0].words
    assert "actor Barista" in report.findings[0].words
    assert report.proven == 514


def test_swapped_and_moved_entries_are_named() -> None:
    lines = HISTORY.bundle()
    a, b = place(lines, 20), place(lines, 21)
    lines[a], lines[b] = lines[b], lines[a]
    lines.insert(place(lines, 450), lines.pop(place(lines, 100)))
    assert sorted(found(check(lines))) == [("re-ordered", 21), ("re-ordered", 100)]


def test_inserted_entries_are_named_new_or_copied() -> None:
    lines = HISTORY.bundle()
    lines.insert(place(lines, 30), entry(9999) + b"\n")
    lines.insert(place(lines, 300), entry(12) + b"\n")
    words = [one.words for one in check(lines).findings]
    assert len(words) == 2
    assert "After entry no. 29 stands an entry that was never sealed" in words[0]
    assert "second copy of entry no. 12" in words[1]


def test_an_entry_the_store_has_lost_is_missing() -> None:
    leaves = [
        Leaf(at, HISTORY.hashes[at], None if at in (40, 41, 42) else HISTORY.payloads[at])
        for at in range(515)
    ]
    lines = list(bundle_lines(origin=ORIGIN, keys=[KEY.verifier], leaves=leaves,
                              checkpoints=HISTORY.checkpoints))  # fmt: skip
    report = check(lines)
    assert found(report) == [("missing", 41)]
    assert (report.findings[0].first, report.findings[0].last) == (41, 43)


def test_damage_with_its_fingerprints_is_bracketed_and_the_rest_still_proven() -> None:
    history = sealed(10, 300, 5, 200)
    bad = entry(9999)
    forged = [*history.hashes[:100], leaf_hash(bad), *history.hashes[101:]]
    payloads = [*history.payloads[:100], bad, *history.payloads[101:]]
    leaves = [Leaf(at, forged[at], payloads[at]) for at in range(515)]
    lines = list(bundle_lines(origin=ORIGIN, keys=[KEY.verifier], leaves=leaves,
                              checkpoints=history.checkpoints, nodes=history.read))  # fmt: skip
    report = check(lines)
    assert found(report) == [("rewritten", 11)]
    assert (report.findings[0].last, report.proven) == (310, 215)


def test_a_new_key_is_believed_after_the_old_one_vouched_for_it() -> None:
    history = sealed(10)
    history.signers = [KEY, NEW_KEY]
    history.seal(5)
    history.signers = [NEW_KEY]
    history.seal(5)
    assert check(history.bundle()).intact
    assert verify(history.bundle(), keys=[NEW_KEY.verifier]).intact


def test_a_new_key_nobody_vouched_for_is_not_believed() -> None:
    history = sealed(10)
    history.signers = [NEW_KEY]
    history.seal(5)
    report = check(history.bundle())
    assert [kind for kind, _ in found(report)] == ["not proven", "forged", "forged"]
    assert "no sealed entry made it" in report.findings[-1].words
    assert report.proven == 10


def test_the_writer_refuses_what_would_not_verify() -> None:
    leaf = Leaf(0, HISTORY.hashes[0], HISTORY.payloads[0])
    later = Leaf(5, HISTORY.hashes[5], HISTORY.payloads[5])
    for leaves in ([leaf, leaf], [later], [Leaf(0, b"", b"{}")], [Leaf(0, b"0" * 32, b"{\n}")]):
        with pytest.raises(LedgerError):
            list(bundle_lines(origin=ORIGIN, keys=[KEY.verifier], leaves=leaves, checkpoints=[]))


def test_an_empty_history_with_its_checkpoint_is_intact() -> None:
    history = History(checkpoints=[Checkpoint(ORIGIN, 0, Frontier().root()).signed([KEY])])
    assert check(history.bundle(), since=history.checkpoints).intact
    history.seal(3)
    assert check(history.bundle()).intact
