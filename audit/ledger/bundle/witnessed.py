"""Which witnesses saw which state, and whether enough of those the reader asked for did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from audit.ledger.bundle.asked import Rule
from audit.ledger.bundle.report import Kind, Quorum, Report, plain
from audit.ledger.checkpoint import Checkpoint
from audit.ledger.errors import LedgerError, count
from audit.ledger.note import read_note
from audit.ledger.witness.cosignature import WitnessKey, cosignatures, time_of

NAMED = 5  # witnesses that were not given, by name


@dataclass(frozen=True)
class Sight:
    """The largest state here that a witness cosigned: entries, and when in POSIX seconds."""

    size: int
    at: int

    @property
    def when(self) -> str:
        """The time by the witness's own clock."""
        try:
            return f"{datetime.fromtimestamp(self.at, UTC):%Y-%m-%d %H:%M:%S} UTC"
        except (ValueError, OverflowError, OSError):
            return f"{self.at} s after 1970"


class Witnessed:
    """Takes the checkpoints that the entries here give; `close` says who saw what.

    Raises LedgerError for the same key given twice, or a quorum that so many can't make.
    """

    def __init__(self, witnesses: Sequence[WitnessKey], quorum: int | None, report: Report) -> None:
        if len({key.public for key in witnesses}) < len(witnesses):
            raise LedgerError("witness", witnesses[-1].name, "each key once: one name, one witness")
        if quorum is not None:
            count("quorum", quorum, least=1, most=len(witnesses))
        self._witnesses = list(witnesses)
        self._believed: list[tuple[str, Checkpoint]] = []
        self._sights: dict[WitnessKey, Sight] = {}
        self._strangers: dict[str, None] = {}
        self._report = report
        report.asked = quorum or len(witnesses)
        report.witnesses = len(witnesses)

    def look(self, note: str, state: Checkpoint) -> None:
        """A believed checkpoint of exactly the entries here."""
        self._believed.append((note, state))

    def _look(self, note: str, state: Checkpoint, witnesses: Sequence[WitnessKey]) -> None:
        try:
            found = cosignatures(note, witnesses)
        except LedgerError as error:
            words = f"the checkpoint of entry no. {state.size:,}: {plain(error)}"
            self._report.add(Kind.FORGED, words)
            return
        for one in found:
            before = self._sights.get(one.witness)
            if before is None or before.size < state.size:
                self._sights[one.witness] = Sight(state.size, one.at)
        known = {(key.name, key.key_id) for key in witnesses}
        for name, key_id, signature in read_note(note).signatures:
            if time_of(signature) is not None and (name, key_id) not in known:
                self._strangers[name] = None

    def close(self, rule: Rule | None = None) -> None:
        """Say in the report who saw what, and up to where enough of them did: of those given, and
        of those that the history's own policy asks for."""
        asked = rule.witnesses if rule else ()
        looked_for = list(dict.fromkeys([*self._witnesses, *asked]))
        for note, state in self._believed:
            self._look(note, state, looked_for)
        for witness in looked_for:
            sight = self._sights.get(witness)
            words = f"the witness {plain(witness.name)}+{witness.key_id.hex()} saw "
            words += f"the first {sight.size:,} entries, at {sight.when}" if sight else "none of it"
            self._report.add(Kind.NOTE, words)
        if self._strangers:
            named = ", ".join(plain(name) for name in list(self._strangers)[:NAMED])
            words = f"cosigned also by {named}: not checked, give the key with --witness"
            self._report.add(Kind.NOTE, words)
        given, report = self._sizes(self._witnesses), self._report
        report.saw = len(given)
        if report.asked and len(given) >= report.asked:
            report.witnessed = given[report.asked - 1]
        if rule:
            sizes = self._sizes(rule.witnesses)
            through = sizes[rule.needed - 1] if len(sizes) >= rule.needed else None
            report.ruled = Quorum(rule.needed, len(rule.witnesses), len(sizes), through)

    def _sizes(self, witnesses: Sequence[WitnessKey]) -> list[int]:
        """What each of them saw that saw any, the most first."""
        seen = (self._sights[each].size for each in witnesses if each in self._sights)
        return sorted(seen, reverse=True)
