"""What a check found, in plain words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

SHOWN = 50  # findings of one kind that are printed in full


class Kind(StrEnum):
    """Kinds of finding; anything but `note` and `sealed late` means that the history is not intact.

    What was sealed late is what the signer itself marked so: it is as it was sealed, and whether
    it was true somebody has to find out.
    """

    NOTE = "note"
    LATE = "sealed late"
    MISSING = "missing"
    ALTERED = "altered"
    INSERTED = "inserted"
    REORDERED = "re-ordered"
    REWRITTEN = "rewritten"
    CUT = "cut off"
    UNPROVEN = "not proven"
    FORGED = "forged"
    UNREADABLE = "unreadable"
    UNTIMELY = "out of its time"
    DIFFERS = "not as the history has it"
    SIGNATURE = "signature"


HARMLESS = (Kind.NOTE, Kind.LATE)


class Pinned(StrEnum):
    """Whether the reader gave a signing key, and whether it is the one that signed here."""

    NONE = "no key was pinned"
    KEY = "the pinned key signed"
    OTHER = "another key signed"


@dataclass(frozen=True)
class Finding:
    """One thing found; `first` and `last` are entry numbers from 1 where it is about entries."""

    kind: Kind
    words: str
    first: int | None = None
    last: int | None = None


@dataclass(frozen=True, slots=True)
class Quorum:
    """Of `of` witnesses `saw` cosigned a state, `asked` should have, and so many saw the first
    `through` entries (None: fewer saw any)."""

    asked: int
    of: int
    saw: int
    through: int | None

    def words(self, size: int) -> str:
        """For a history of so many entries."""
        of = f"{self.asked} of {self.of} witnesses"
        if self.through is None:
            return f"NOT seen by {of}: {self.saw} cosigned a state of it."
        after = size - self.through
        later = f", and not yet the {after:,} after it" if after > 0 else ""
        return f"Seen by {of} up to entry no. {self.through:,}{later}."


@dataclass
class Report:
    """The outcome of a check, in numbers of entries.

    `size` of the history so far, `left_out` of this file, `entries` listed, `proven` to be as
    sealed; and the `checkpoints` believed. Of those left out, `archived` are in an archive, and
    `looked_at` in one that was given and holds them as sealed. `pins` are what the reader gave to
    compare with: keys and kept checkpoints. Of the `witnesses` given `saw` cosigned a state of it,
    `asked` should have, and so many saw the first `witnessed` entries (None: fewer saw any);
    `ruled` is the same for those that the policy in the history asks for.
    """

    origin: str = ""
    size: int = 0
    entries: int = 0
    left_out: int = 0
    proven: int = 0
    checkpoints: int = 0
    archived: int = 0
    looked_at: int = 0
    pinned: Pinned = Pinned.NONE
    pins: list[str] = field(default_factory=list)
    witnesses: int = 0
    asked: int = 0
    saw: int = 0
    witnessed: int | None = None
    ruled: Quorum | None = None
    rows: int | None = None
    findings: list[Finding] = field(default_factory=list)

    @property
    def intact(self) -> bool:
        """True if every entry listed is proven and nothing but notes was found."""
        return self.sealed and not self.differ

    @property
    def sealed(self) -> bool:
        """The same of the history alone, whatever its tables are."""
        return not self.damaged and self.proven == self.entries == self.size - self.left_out

    @property
    def damaged(self) -> bool:
        """True if anything was found that was altered, or that can't be."""
        return any(one.kind not in (*HARMLESS, Kind.DIFFERS) for one in self.findings)

    @property
    def differ(self) -> int:
        """In how much the tables given are not what the history says."""
        return sum(one.kind is Kind.DIFFERS for one in self.findings)

    def add(
        self, kind: Kind, words: str, first: int | None = None, last: int | None = None
    ) -> None:
        """Add a finding; `first` and `last` count from 1."""
        self.findings.append(Finding(kind, words, first, last))

    def lines(self) -> Iterator[str]:
        """The report as lines to print, the verdict first."""
        parts = (self._verdict(), self._late(), self._beside(), self._compared(), self._seen())
        yield " ".join(filter(None, parts))
        shown: Counter[Kind] = Counter()
        for one in self.findings:
            shown[one.kind] += 1
            if shown[one.kind] <= SHOWN:
                yield f"- {one.kind}: {one.words}"
        for kind, total in shown.items():
            if total > SHOWN:
                yield f"- {kind}: and {total - SHOWN:,} more"

    def _late(self) -> str:
        found = [one for one in self.findings if one.kind is Kind.LATE]
        if not found:
            return ""
        count = sum((one.last or 0) - (one.first or 0) + 1 for one in found)
        return f"{count:,} of them {'was' if count == 1 else 'were'} SEALED LATE, see below."

    def _beside(self) -> str:
        """What the tables are beside it, if they were given: `rows` of them."""
        if self.rows is None:
            return ""
        if self.differ:
            found = "1 difference" if self.differ == 1 else f"{self.differ:,} differences"
            return f"The tables are NOT what it says: {found}, see below."
        return f"The {self.rows:,} rows of the tables are what it says."

    def _compared(self) -> str:
        """What the verdict rests on: without a pinned key, on the key that signed it."""
        given = f"Pinned: {', '.join(self.pins)}." if self.pins else ""
        if self.pinned is Pinned.NONE:
            words = "No signing key was pinned: who signs everything anew with another passes too."
        elif self.pinned is Pinned.OTHER:
            words = "It is signed by ANOTHER key than the one pinned."
        else:
            return given
        return f"{words} {given}".rstrip()

    @property
    def unseen(self) -> bool:
        """True if fewer witnesses saw a state of it than were asked for, by the reader or by the
        policy in the history."""
        return (bool(self.asked) and self.witnessed is None) or (
            self.ruled is not None and self.ruled.through is None
        )

    def _seen(self) -> str:
        """Up to where so many of the witnesses saw it as were asked for."""
        given = Quorum(self.asked, self.witnesses, self.saw, self.witnessed)
        parts = [given.words(self.size)] if self.asked else []
        if self.ruled:
            parts.append(f"As its policy asks: {self.ruled.words(self.size)}")
        return " ".join(parts)

    def _verdict(self) -> str:
        whose = f"The history of {plain(self.origin)}" if self.origin else "This history"
        if not self.sealed:
            proven = max(self.proven, 0)
            return (
                f"{whose} is NOT proven intact: {proven:,} of {self.entries:,} entries here hold."
            )
        if self.entries + self.looked_at == self.size:
            where = f"; {self.looked_at:,} of them are in archives" if self.looked_at else ""
            return (
                f"{whose} is intact: all {self.size:,} entries, in order, as they were sealed"
                f"{where}."
            )
        words = (
            f"{whose} is intact in this part: {self.entries + self.looked_at:,} of "
            f"{self.size:,} entries, each in its place, as they were sealed."
        )
        unseen = self.archived - self.looked_at
        return f"{words} {unseen:,} are in archives that were not given." if unseen else words


def plain(text: object) -> str:
    """Text from a file that may be hostile, fit for a terminal: printable and short."""
    shown = "".join(sign if sign.isprintable() else "\ufffd" for sign in str(text))
    return shown if len(shown) <= 120 else shown[:119] + "…"


def numbers(first: int, last: int) -> str:
    """'Entry no. 18' or 'Entries no. 18 to 25'."""
    if first == last:
        return f"Entry no. {first:,}"
    return f"Entries no. {first:,} to {last:,}"
