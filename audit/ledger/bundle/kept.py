"""Checkpoints kept outside: the one thing a rebuilt or shortened history can not meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from audit.ledger.bundle.report import Kind, Report, numbers
from audit.ledger.bundle.trust import Trust
from audit.ledger.checkpoint import Checkpoint, read_checkpoint


class Kept:
    """Kept checkpoint notes, oldest first. Raises LedgerError if one can not be read."""

    def __init__(self, notes: Sequence[str]) -> None:
        pairs = [(read_checkpoint(note), note) for note in notes]
        self._pairs = sorted(pairs, key=lambda pair: pair[0].size)

    @property
    def sizes(self) -> list[int]:
        """Sizes at which the root is wanted."""
        return [state.size for state, _ in self._pairs]

    def compare(self, report: Report, trust: Trust, roots: Mapping[int, set[bytes]]) -> None:
        """Add to the report whether each kept checkpoint still fits."""
        fitting = 0
        for state, note in self._pairs:
            if state.origin != report.origin:
                words = "the checkpoint you kept is of another history"
                report.add(Kind.FORGED, words)
                continue
            if not trust.signed(note):
                words = f"the checkpoint you kept at entry no. {state.size:,} is signed by no key "
                report.add(Kind.FORGED, words + "of this bundle: its key was replaced")
            if _fits(report, state, roots.get(state.size, set()), fitting):
                fitting = state.size


def _fits(report: Report, state: Checkpoint, roots: set[bytes], fitting: int) -> bool:
    size = state.size
    if size > report.size:
        words = (
            f"{numbers(report.size + 1, size)}: cut off. The checkpoint you kept covers "
            f"{size:,} entries, this history ends after {report.size:,}."
        )
        report.add(Kind.CUT, words, report.size + 1, size)
    elif not roots:
        words = f"the checkpoint you kept at entry no. {size:,} falls into a part left out here"
        report.add(Kind.UNPROVEN, words)
    elif state.root not in roots:
        words = (
            f"{numbers(fitting + 1, size)}: not the history you saw. At least one of them was "
            "altered, removed, inserted or re-ordered since you kept the checkpoint of entry no. "
            f"{size:,}. This file alone can not say which."
        )
        report.add(Kind.REWRITTEN, words, fitting + 1, size)
    else:
        words = f"fits the checkpoint you kept at entry no. {size:,}: nothing up to it has changed"
        report.add(Kind.NOTE, words)
        return True
    return False
