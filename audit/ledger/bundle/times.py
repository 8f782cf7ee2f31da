"""Whether what the checkpoints say of time holds: of every entry between two, and of themselves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from audit.ledger.bundle.report import Kind, Report, numbers, plain
from audit.ledger.stamp import Stamp
from audit.ledger.window import Window


@dataclass(frozen=True)
class Block:
    """Some entries listed one after the other, the first of them no. `start` (from 0)."""

    start: int
    txids: Sequence[bytes]
    times: Sequence[bytes]

    def of(self, at: int) -> tuple[int, str]:
        """Transaction and time of one of them."""
        return _number(self.txids[at]), self.times[at].decode("ascii", "replace")

    @property
    def least(self) -> int:
        """The least transaction: of digits alike in number, the least as text."""
        alike = len(set(map(len, self.txids))) == 1
        return _number(min(self.txids)) if alike else min(map(_number, self.txids))

    def fits(self, window: Window) -> bool:
        """Whether there is nothing to say of any of them."""
        earliest, latest = min(self.times), max(self.times)
        return window.all_fit(
            self.least, *(at.decode("ascii", "replace") for at in (earliest, latest))
        )


class Times:
    """One pass over the checkpoints that are believed, in order, and the entries between them."""

    def __init__(self) -> None:
        self._blocks: list[Block] = []
        self._before: Stamp | None = None
        self._marked = 0
        self._newest: Stamp | None = None

    def look(self, start: int, entries: list[bytes]) -> None:
        """Take note of entries (canonical lines) that begin at no. `start`."""
        if entries:
            self._blocks.append(Block(start, *read_times(entries)))

    def drop(self) -> None:
        """What was looked at since the last checkpoint is not proven: nothing is said of it."""
        self._blocks = []

    def forget(self) -> None:
        """A checkpoint that is not believed: what came before the next one is not known."""
        self._blocks, self._before = [], None

    def settle(self, report: Report, stamp: Stamp | None, size: int) -> None:
        """The entries up to here are proven, and this checkpoint of `size` entries believed."""
        blocks, self._blocks = self._blocks, []
        if stamp is None:
            if self._before:
                words = (
                    f"the checkpoint of entry no. {size:,} bears no time: an older version signed"
                )
                report.add(Kind.NOTE, words)
            self._before = None
            return
        self._compare(report, stamp, size)
        self._mark(report, stamp, blocks)
        window = Window(self._before, stamp)
        for block in blocks:
            if not block.fits(window):
                _find(report, window, stamp, block)
        self._before = self._newest = stamp

    def close(self, report: Report, checkpoints: int, *, every: bool) -> None:
        """What the newest says of all that came before it: how many there are, and how many marks.
        `every` says that the bundle holds every one there was where it was made."""
        newest = self._newest
        if newest is None:
            return
        if self._marked < newest.marked:
            words = (
                f"the newest checkpoint speaks of {newest.marked:,} entries marked late, and "
                f"{self._marked:,} are marked here: a checkpoint with a mark was removed"
            )
            report.add(Kind.MISSING, words)
        missing = newest.number - checkpoints
        if missing > 0 and every:
            words = f"{missing:,} of the {newest.number:,} checkpoints were removed"
            report.add(Kind.MISSING, words)
        elif missing > 0:
            words = (
                f"{checkpoints:,} of {newest.number:,} checkpoints are in this file: between them "
                "an entry's time is known the less closely"
            )
            report.add(Kind.NOTE, words)

    def _compare(self, report: Report, stamp: Stamp, size: int) -> None:
        """With the checkpoint before it."""
        before = self._before
        if stamp.restored and not (before and before.restored):
            words = (
                f"after entry no. {size:,} transactions count anew: restored into another cluster"
            )
            report.add(Kind.NOTE, words)
        if before and stamp.time < before.time:
            words = (
                f"the checkpoint of entry no. {size:,} was signed at {stamp.time}, the one before "
                f"it at {before.time}: the signer's clock was set back"
            )
            report.add(Kind.NOTE, words)

    def _mark(self, report: Report, stamp: Stamp, blocks: Iterable[Block]) -> None:
        window = Window(self._before, stamp)
        self._marked += stamp.marked_here
        for first, last in stamp.late:
            why = _why(window, blocks, first)
            words = f"{numbers(first + 1, last + 1)}: marked so when sealed at {stamp.time}{why}"
            report.add(Kind.LATE, words, first + 1, last + 1)


def read_times(entries: Sequence[bytes]) -> tuple[list[bytes], list[bytes]]:
    """Transactions and times of entries in canonical bytes, as they are written there.

    Names are in order and no text holds a bare quote, so that the first `at` with text and the last
    `txid` are the entry's own: no parsing, which would take several times as long as the hashing.
    """
    times = [line[(at := line.find(b',"at":"')) + 7 : at + 34] for line in entries]
    return [line.rpartition(b',"txid":')[2].partition(b",")[0] for line in entries], times


def _number(text: bytes) -> int:
    """The transaction; 0, which is none, where there is no number."""
    digits = text.strip(b'"')
    return int(digits) if digits.isdigit() else 0


def _find(report: Report, window: Window, stamp: Stamp, block: Block) -> None:
    for at in range(len(block.txids)):
        (txid, time), number = block.of(at), block.start + at + 1
        why = window.why(txid, time)
        if why and not stamp.marks(number - 1):
            words = (
                f"{numbers(number, number)}, of transaction {txid}, says {plain(time)}, and was "
                f"sealed at {stamp.time} without a mark: {why}"
            )
            report.add(Kind.UNTIMELY, words, number, number)


def _why(window: Window, blocks: Iterable[Block], index: int) -> str:
    for block in blocks:
        if block.start <= index < block.start + len(block.txids):
            txid, time = block.of(index - block.start)
            why = window.why(txid, time) or "its transaction had not ended"
            return f"; it says {plain(time)}, of transaction {txid}: {why}"
    return ""
