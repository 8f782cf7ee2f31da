"""Which entries can have come to be sealed between two checkpoints, and which can't have.

An entry bears the number of its transaction and the time it was written at. The earlier checkpoint
says which transactions had ended by then: whatever those wrote was sealed with it at the latest,
so an entry of one of them that comes later was put in afterwards. A transaction that was still
open, or had not begun, may have waited for as long as it liked; but it can't have written before
it began. So no allowance is made for waiting: a transaction that is open for hours is no alarm.

What is allowed for is clocks alone: the signer's and the database's may differ by CLOCKS before
sealing waits for somebody to set them, and the signer's own may step back by as much, its signed
time then standing still. An entry's time may be wrong by both. The figures are a choice: network
time keeps machines well within a second of one another, and ten seconds falsify nobody's day.
"""

from __future__ import annotations

from datetime import timedelta

from audit.ledger.stamp import Stamp, moment, read_moment

CLOCKS = timedelta(seconds=5)
ALLOWANCE = 2 * CLOCKS

ENDED = "its transaction had ended, and was not there, when what was there was sealed"
TOO_EARLY = "its time lies before its transaction began"
TOO_LATE = "its time lies after it was sealed"


class Window:
    """What may be sealed by a checkpoint (`now`) that follows another (`before`, None if that is
    unknown or bears no time: then only what lies after it is found)."""

    def __init__(self, before: Stamp | None, now: Stamp) -> None:
        self._through = before.through if before else None
        self._next = self._through.next if self._through and not now.restored else 0
        self._restored = now.restored
        self._from = _shifted(self._through.time, -ALLOWANCE) if self._through else ""
        self._until = _shifted(now.time, ALLOWANCE)

    def all_fit(self, least: int, earliest: str, latest: str) -> bool:
        """Whether nothing can't be of many entries, by their least transaction and their times; the
        usual case, and much the fastest."""
        return least >= self._next and earliest >= self._from and latest <= self._until

    def why(self, txid: int, at: str) -> str:
        """What can't be of an entry of this transaction, written at this time; '' if all can."""
        if at > self._until:
            return TOO_LATE
        through = self._through
        if through is None:
            return ""
        if through.ended(txid) and not self._restored:
            return ENDED
        began = through.open.get(txid)
        return TOO_EARLY if at < (_shifted(began, -ALLOWANCE) if began else self._from) else ""


def _shifted(text: str, by: timedelta) -> str:
    try:
        return moment(read_moment(text) + by)
    except OverflowError:
        return text
