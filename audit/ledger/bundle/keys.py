"""The keys a bundle names, held against the entries that say which keys were made.

Every signing key is made by the program, and that is an entry of the history. A key that no sealed
entry made, and that signed nothing that is believed, was put among the others by somebody else.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from audit.ledger.bundle.report import Kind, Report, plain
from audit.ledger.canonical import read_object
from audit.ledger.errors import LedgerError
from audit.ledger.merkle import leaf_hash
from audit.ledger.note import Verifier

TABLE = "audit_ledgerkey"
MADE, ROTATED = "ledger.key_made", "ledger.key_rotated"
_SIGN = f'"table_name":"{TABLE}"'.encode()
LAST = 150  # bytes of an entry about a key in which its table stands: only a number and "" follow


class MadeKeys:
    """Entries about keys met in one pass, and the judgement at its end."""

    def __init__(self) -> None:
        self._waiting: list[bytes] = []
        self._made: dict[str, str] = {}  # action by public key

    def look(self, entries: Sequence[bytes]) -> None:
        """Take note of entries (lines) that are about keys."""
        self._waiting += [line[:-1] for line in entries if line.find(_SIGN, -LAST) >= 0]

    def settle(self, bad: Iterable[bytes] | None) -> None:
        """The entries up to here are proven, but for these leaf hashes; None: none of them is."""
        if self._waiting and bad is not None:
            false = set(bad)
            made = (_made(one) for one in self._waiting if leaf_hash(one) not in false)
            self._made |= dict(one for one in made if one)
        self._waiting = []

    def judge(
        self, report: Report, named: Sequence[Verifier], known: Collection[Verifier], *, whole: bool
    ) -> None:
        """Add to the report each key that is named and was not made, or made and is not named.

        `known` are those believed that signed something here; `whole`: every entry is here.
        """
        for key in known:
            if key not in named:
                words = f"the key {plain(key.text)} signs here, and is not among those named"
                report.add(Kind.MISSING, words)
        for key in named:
            action = self._made.get(key.text)
            if action in (MADE, ROTATED) or (action is None and (key in known or not whole)):
                continue
            how = "an entry not of the program's making" if action else "no sealed entry"
            words = f"the key {plain(key.text)} is named among those that sign: {how} made it"
            report.add(Kind.FORGED, words)
        for text in self._made.keys() - {key.text for key in named}:
            words = f"the key {plain(text)} was made, and is not among those named"
            report.add(Kind.MISSING, words)


def _made(payload: bytes) -> tuple[str, str] | None:
    """The public key that an entry made, and its action; None if it made none."""
    try:
        entry = read_object(payload)
        if (entry["table_name"], entry["operation"]) != (TABLE, "created"):
            return None
        return str(entry["changes"]["public"][1]), str(entry["action"])
    except (LedgerError, KeyError, TypeError, IndexError):
        return None
