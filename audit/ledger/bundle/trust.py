"""Whose signature counts: keys given by the reader, or else those the bundle names for itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from audit.ledger.bundle.lines import Header
from audit.ledger.bundle.report import Kind, Pinned, Report, numbers, plain
from audit.ledger.checkpoint import Checkpoint, read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.note import Verifier, open_note, read_note


class Trust:
    """The keys believed so far. One that signs beside a believed key is believed from then on."""

    def __init__(self, pinned: Sequence[Verifier], report: Report) -> None:
        self._known = list(pinned)
        self._pinned = bool(pinned)
        self._named: list[Verifier] = []
        self.signing = set[Verifier]()  # believed, and signed something here
        self._report = report
        if pinned:
            report.pinned = Pinned.KEY
            report.pins += [
                f"the signing key {plain(key.name)}+{key.key_id.hex()}" for key in pinned
            ]

    @property
    def known(self) -> list[Verifier]:
        """The keys themselves."""
        return list(self._known)

    @property
    def named(self) -> list[Verifier]:
        """Those the bundle names for itself."""
        return list(self._named)

    def meet(self, header: Header) -> None:
        """Take note of the keys the bundle names; believe them only if none were given."""
        self._named = list(header.keys)
        if self._pinned or not self._named:
            return
        self._known = self._named[:1]
        self._report.add(
            Kind.NOTE,
            f"the signing key was taken from the bundle itself: {plain(self._known[0].text)}. "
            "Compare it with the one you wrote down, or give it with --key.",
        )

    def open(self, note: str) -> Checkpoint | None:
        """The checkpoint if a believed key signed it, else None. Raises LedgerError if one that
        is believed does not hold or the text is no checkpoint."""
        state = read_checkpoint(note)
        if not self._signs(note):
            return None
        self.signing.update(open_note(note, self._known)[1])
        self._hand_over(note, state)
        return state

    def strange(self, state: Checkpoint) -> None:
        """A checkpoint signed by no believed key: another than the one pinned, if one was."""
        if self._pinned:
            self._report.pinned = Pinned.OTHER
        words = f"the checkpoint of entry no. {state.size:,} is signed by no key known here"
        self._report.add(Kind.FORGED, words)

    def signed(self, note: str) -> bool:
        """Whether a believed key signed the note and every one that did holds."""
        try:
            open_note(note, self._known)
        except LedgerError:
            return False
        return True

    def _signs(self, note: str) -> bool:
        ids = {(key.name, key.key_id) for key in self._known}
        return any((name, key_id) in ids for name, key_id, _ in read_note(note).signatures)

    def _hand_over(self, note: str, state: Checkpoint) -> None:
        parsed = read_note(note)
        new = [key for key in self._named if key not in self._known]
        for name, key_id, signature in parsed.signatures:
            for key in new:
                if (key.name, key.key_id) == (name, key_id) and key.holds(parsed.text, signature):
                    self._known.append(key)
                    self.signing.add(key)
                    self._report.add(
                        Kind.NOTE,
                        f"the key {plain(key.text)} signs too: at entry no. {state.size:,} a key "
                        "already believed signed beside it",
                    )


class Kept:
    """Kept checkpoint notes, oldest first. Raises LedgerError if one can not be read."""

    def __init__(self, notes: Sequence[str]) -> None:
        pairs = [(read_checkpoint(note), note) for note in notes]
        self._pairs = sorted(pairs, key=lambda pair: pair[0].size)

    @property
    def sizes(self) -> list[int]:
        """Sizes at which the root is wanted."""
        return [state.size for state, _ in self._pairs]

    def compare(
        self, report: Report, trust: Trust, roots: Mapping[int, set[bytes]]
    ) -> list[tuple[Checkpoint, str]]:
        """Add to the report whether each kept checkpoint still fits; returns those that do."""
        fitting, fit = 0, list[tuple[Checkpoint, str]]()
        report.pins += [f"a checkpoint of {state.size:,} entries" for state, _ in self._pairs]
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
                fit.append((state, note))
        return fit


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
            f"{size:,}. This file alone can't say which."
        )
        report.add(Kind.REWRITTEN, words, fitting + 1, size)
    else:
        words = f"fits the checkpoint you kept at entry no. {size:,}: nothing up to it has changed"
        report.add(Kind.NOTE, words)
        return True
    return False
