"""One pass over a bundle: two trees grow, one of the fingerprints stated, one of the entries found.

While both agree they are one tree. A checkpoint says which of them is the history: a stretch is
the entries from one checkpoint to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from hashlib import sha256

from audit.ledger.bundle.explain import Difference
from audit.ledger.bundle.lines import Archived, Fingerprints, Gap, write
from audit.ledger.errors import LedgerError
from audit.ledger.merkle import Frontier, fold
from audit.ledger.proof import Span, coordinates


@dataclass
class Stretch:
    """Entries since the last checkpoint: where they start, how many are listed or left out."""

    start: int
    listed: int = 0
    left_out: int = 0
    difference: Difference = field(default_factory=Difference)


class Scan:
    """The state of the pass. `stops` are sizes at which the roots are wanted (kept checkpoints)."""

    def __init__(self, stops: Sequence[int] = ()) -> None:
        self._stated = Frontier()
        self._found: Frontier | None = None  # a tree of its own only once the two differ
        self._lined_up = True  # False once a gap no longer fits the entries found
        self.roots: dict[int, set[bytes]] = {stop: set() for stop in stops}
        self.stretch = Stretch(0)
        self._take_root(self._stated)

    @property
    def size(self) -> int:
        """Entries stated so far, gaps included."""
        return self._stated.size

    @property
    def frontier(self) -> list[bytes]:
        """Frontier of the fingerprints stated so far."""
        return self._stated.hashes

    @property
    def root(self) -> bytes:
        """Root of the fingerprints stated so far."""
        return self._stated.root()

    def block_as_stated(self, entries: list[bytes], raw: bytes) -> bool:
        """Take a block if its line of fingerprints is, byte for byte, the one these entries give.

        The usual case, and much the fastest: nothing is parsed.
        """
        hashes = _leaf_hashes(entries)
        if self._found is not None or raw != write(Fingerprints(self.size, b"".join(hashes))):
            return False
        self.stretch.listed += len(entries)
        self._grow(self._stated, hashes)
        return True

    def block(self, entries: list[bytes], line: Fingerprints) -> None:
        """Entries as listed (lines with their newline) and the fingerprints stated for them."""
        hashes, stated = _leaf_hashes(entries), line.hashes
        self.stretch.listed += len(entries)
        if hashes != stated:
            self._differ(entries, hashes, stated)
        if self._found is not None:
            self._grow(self._found, hashes)
        self._grow(self._stated, stated)

    def archived(self, line: Archived) -> None:
        """Entries that are in an archive, known by their hashes alone."""
        hashes = line.hashes
        if self._found is not None:
            self._grow(self._found, hashes)
        self._grow(self._stated, hashes)
        self.stretch.left_out += len(hashes)

    def gap(self, line: Gap) -> None:
        """Entries left out. Raises LedgerError if it does not follow on or is not tiled."""
        places = coordinates(Span(self.size, self.size + line.count))
        if line.first != self.size or len(places) != len(line.hashes):
            raise LedgerError("gap", line.first, f"one that follows on entry no. {self.size}")
        for at, subtree in zip(places, line.hashes, strict=True):
            self._stated.append_subtree(at.level, subtree)
            self._append_found(at.level, subtree)
        self.stretch.left_out += line.count
        self._take_root(self._stated)

    def states(self, size: int, root: bytes) -> bool:
        """Whether the fingerprints stated give this root at this size."""
        return (self._stated.size, self._stated.root()) == (size, root)

    def finds(self, size: int, root: bytes) -> bool:
        """Whether the entries themselves, whatever is stated, give this root at this size."""
        found = self._found
        return found is not None and self._lined_up and (found.size, found.root()) == (size, root)

    def go_on(self, size: int, root: bytes, frontier: Sequence[bytes]) -> bool:
        """Start the next stretch at a signed state, from its frontier where the own is damaged.

        False if that frontier does not fold to the root, so that nothing after can be proven.
        """
        sound = self.states(size, root)
        if not sound and fold(frontier) == root and frontier:
            try:
                self._stated = Frontier(size, frontier)
            except LedgerError:
                return False
            sound = True
        self._found, self._lined_up = None, True
        self.stretch = Stretch(self.size)
        return sound

    def _differ(self, entries: list[bytes], hashes: list[bytes], stated: list[bytes]) -> None:
        if self._found is None:
            self._found = self._stated.copy()
        first, difference = self.size + 1, self.stretch.difference
        difference.sealed += [(first + at, one) for at, one in enumerate(stated)]
        difference.found += [(one, line[:-1]) for one, line in zip(hashes, entries, strict=True)]

    def _grow(self, tree: Frontier, hashes: list[bytes]) -> None:
        start, done = tree.size, 0
        for stop in sorted(self.roots):
            if start < stop <= start + len(hashes):
                tree.extend(hashes[done : stop - start])
                done = stop - start
                self._take_root(tree)
        tree.extend(hashes[done:] if done else hashes)

    def _append_found(self, level: int, subtree: bytes) -> None:
        if self._found is not None and self._lined_up:
            try:
                self._found.append_subtree(level, subtree)
            except LedgerError:
                self._lined_up = False

    def _take_root(self, tree: Frontier) -> None:
        if tree.size in self.roots:
            self.roots[tree.size].add(tree.root())


def _leaf_hashes(entries: list[bytes]) -> list[bytes]:
    return [sha256(b"\x00" + line[:-1]).digest() for line in entries]
