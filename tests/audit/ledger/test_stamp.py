"""What checkpoints say of time: read back as written, one spelling only; older notes have none."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.ledger.checkpoint import Checkpoint, read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.note import Signer
from audit.ledger.stamp import Stamp, Through, read_stamp, runs_of
from audit.ledger.window import ENDED, TOO_EARLY, TOO_LATE, Window

KEY = Signer("bar.example/history", b"\x01" * 32)


def at(second: float, *, hour: int = 12, minute: int = 0) -> str:
    return f"2026-11-28T{hour}:{minute:02}:{second:09.6f}Z"


THROUGH = Through(at(10), 200, {150: at(3), 190: at(9)})
BEFORE = Stamp(7, at(11), THROUGH, (149, 2**63 - 1))
NOW = Stamp(8, at(20), Through(at(19), 230), (229, 2**63 - 1))
MARKED = Stamp(9, at(30), Through(at(29), 240, {235: at(19)}), (5, 6), 4, ((3, 5), (9, 9)), True)


@pytest.mark.parametrize("stamp", [BEFORE, NOW, MARKED, Stamp(1, at(0), None, (0, 0))])
def test_it_is_signed_and_read_back(stamp: Stamp) -> None:
    note = Checkpoint("bar.example/history", 10, bytes(32), stamp).signed([KEY])
    assert read_checkpoint(note).stamp == stamp
    assert read_stamp(["another's line", *stamp.lines, "and one after"]) == stamp


def test_older_notes_and_other_lines_say_nothing_of_time() -> None:
    note = Checkpoint("bar.example/history", 10, bytes(32)).signed([KEY])
    assert read_checkpoint(note).stamp is None
    assert read_stamp(["time is money", "numbers"]) is None


@pytest.mark.parametrize(("line", "other"), [
    ("number 9", "number 09"), ("number 9", "number nine"), ("number 9", "number 9 9"),
    (f"time {at(30)}", "time 2026-11-28T12:00:30Z"), (f"time {at(30)}", "time "),
    (f"through {at(29)} 240", f"through {at(29)}"), (f"open 235 {at(19)}", f"open 235 {at(19)} "),
    ("floor 5 6", "floor 5 06"), ("late 4 3-5 9", "late 4 3-5 9-9"), ("late 4 3-5 9", "late"),
    ("late 4 3-5 9", "late 4 9 3-5"), ("late 4 3-5 9", "late 4 3-4 5 9"),
    ("late 4 3-5 9", "late 4 5-3 9"),
])  # fmt: skip
def test_nothing_is_said_in_two_ways(line: str, other: str) -> None:
    lines = MARKED.lines
    assert line in lines
    with pytest.raises(LedgerError):
        read_stamp([other if one == line else one for one in lines])


@given(st.sets(st.integers(0, 60)))
def test_runs_hold_what_they_were_made_of(indexes: set[int]) -> None:
    stamp = Stamp(1, at(0), None, (0, 0), len(indexes), runs_of(sorted(indexes)))
    assert {one for one in range(61) if stamp.marks(one)} == indexes
    assert stamp.marked_here == len(indexes)
    assert read_stamp(stamp.lines) == stamp


@pytest.mark.parametrize(("txid", "written", "why"), [
    (200, at(10), ""), (215, at(20), ""),  # began after, written between
    (200, at(0.5), ""), (200, at(29.9), ""),  # within what is allowed for clocks
    (200, at(59.9, hour=11, minute=59), TOO_EARLY), (200, at(30.1), TOO_LATE),
    (199, at(15), ENDED), (12, at(15), ENDED), (12, at(31), TOO_LATE),
    (150, at(4), ""), (150, at(53, hour=11, minute=59), ""),  # open all the time
    (150, at(52.9, hour=11, minute=59), TOO_EARLY), (190, at(3), ""),
    (200, "", TOO_EARLY), (200, "10000-01-01T00:00:00.000000Z", TOO_EARLY),
])  # fmt: skip
def test_what_can_have_come_between_two_checkpoints(txid: int, written: str, why: str) -> None:
    window = Window(BEFORE, NOW)
    assert window.why(txid, written) == why
    assert not (window.all_fit(txid, written, written) and why)


def test_where_nothing_is_known_of_before_only_the_end_is_a_bound() -> None:
    for before in (None, Stamp(7, at(11), None, (0, 0))):
        window = Window(before, NOW)
        assert window.why(3, at(0)) == ""
        assert window.why(3, at(31)) == TOO_LATE


def test_in_a_restored_database_transactions_say_nothing_and_times_do() -> None:
    window = Window(BEFORE, Stamp(8, at(20), None, (0, 0), restored=True))
    assert window.why(3, at(15)) == ""
    assert window.why(3, at(0, hour=11)) == TOO_EARLY
