"""Writing a bundle, line by line, from leaves read in order: nothing is held but one block."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from audit.ledger.bundle.lines import (
    Archived,
    BundleLine,
    End,
    Fingerprints,
    Gap,
    Header,
    Mark,
    write,
)
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError, count, hash32
from audit.ledger.merkle import Coordinate, Frontier
from audit.ledger.note import Verifier
from audit.ledger.proof import Span, coordinates

BLOCK = 1024  # entries per line of fingerprints

Nodes = Callable[[Sequence[Coordinate]], Mapping[Coordinate, bytes]]


@dataclass(frozen=True)
class Leaf:
    """An entry to write: its number from 0, the leaf hash stored when it was sealed, its bytes.

    Give the stored hash, not one computed now, or a change since would hide itself. Bytes None
    says that the entry is gone; the check will name it as missing, unless `archive` is the number
    of an archive that holds it.
    """

    index: int
    hash: bytes
    payload: bytes | None
    archive: int | None = None


@dataclass(frozen=True)
class Run:
    """Entries that follow one another from number `first`, with nothing missing and nothing
    archived: as leaves with these hashes and bytes, in a fraction of the time."""

    first: int
    hashes: Sequence[bytes]
    payloads: Sequence[bytes]

    def leaves(self) -> Iterator[Leaf]:
        """One by one."""
        for index, (one, payload) in enumerate(
            zip(self.hashes, self.payloads, strict=True), self.first
        ):
            yield Leaf(index, one, payload)


class Writer:
    """Makes the lines of one bundle. `nodes` reads stored nodes (leaves too), for gaps only."""

    def __init__(self, checkpoints: Sequence[str], nodes: Nodes | None = None) -> None:
        self._frontier = Frontier()
        self._marks = sorted((read_checkpoint(note).size, note) for note in checkpoints)
        self._nodes = nodes
        self._hashes: list[bytes] = []
        self._archive: int | None = None  # the one that holds the entries of these hashes
        self._entries = 0
        self._checkpoints = len(checkpoints)

    def leaf(self, leaf: Leaf) -> Iterator[bytes]:
        """The lines up to and including this entry. Raises LedgerError if it is out of order."""
        if leaf.archive != self._archive:
            yield from self._flush()
        if not self._hashes:
            yield from self._due_marks()  # a checkpoint of the empty history, or a late start
        at = self._frontier.size + len(self._hashes)
        count("index", leaf.index, least=at)
        if leaf.index > at:
            yield from self._skip_to(leaf.index)
        if leaf.payload is not None and leaf.archive is None:
            self._entries += 1
            yield _entry(leaf.payload)
        self._archive = leaf.archive
        self._hashes.append(hash32("hash", leaf.hash))
        if len(self._hashes) == BLOCK or self._next_mark() == leaf.index + 1:
            yield from self._flush()

    def run(self, run: Run) -> Iterator[bytes]:
        """The lines up to and including these entries. Raises LedgerError as `leaf` does."""
        done = 0
        while done < len(run.hashes):
            # The first of each block goes the long way, which sees to marks, gaps and archives.
            yield from self.leaf(Leaf(run.first + done, run.hashes[done], run.payloads[done]))
            done += 1
            if room := self._room():
                rest = slice(done, done + room)
                hashes = run.hashes[rest]
                yield from _entries(run.payloads[rest])
                self._hashes += hashes if set(map(len, hashes)) <= {32} else _whole(hashes)
                taken = len(hashes)
                self._entries, done = self._entries + taken, done + taken
                if taken == room:
                    yield from self._flush()

    def _room(self) -> int:
        """How many more entries the block under way takes; 0 if none is."""
        if not self._hashes:
            return 0
        end = self._frontier.size + BLOCK
        return min(end, self._next_mark() or end) - self._frontier.size - len(self._hashes)

    def close(self) -> Iterator[bytes]:
        """The last lines: what is pending, checkpoints beyond the last entry, the end."""
        yield from self._flush()
        if self._marks:
            yield from self._skip_to(self._marks[-1][0])
        yield write(End(self._frontier.size, self._entries, self._checkpoints))

    def _next_mark(self) -> int | None:
        return self._marks[0][0] if self._marks else None

    def _flush(self) -> Iterator[bytes]:
        if self._hashes:
            first, joined = self._frontier.size, b"".join(self._hashes)
            if self._archive is None:
                yield write(Fingerprints(first, joined))
            else:
                yield write(Archived(self._archive, first, joined))
            self._frontier.extend(self._hashes)
            self._hashes = []
        yield from self._due_marks()

    def _due_marks(self) -> Iterator[bytes]:
        while self._next_mark() == self._frontier.size:
            yield write(Mark(self._marks.pop(0)[1], self._stored_frontier()))

    def _stored_frontier(self) -> list[bytes]:
        if self._nodes is None:
            return self._frontier.hashes
        places = coordinates(Span(0, self._frontier.size))
        stored = self._nodes(places)
        # A node the store has lost is made good from what was read; the check decides.
        fallback = dict(zip(places, self._frontier.hashes, strict=True))
        return [stored.get(at, fallback[at]) for at in places]

    def _skip_to(self, index: int) -> Iterator[bytes]:
        yield from self._flush()
        while self._frontier.size < index:
            stop = min(index, self._next_mark() or index)
            yield self._gap(Span(self._frontier.size, stop))
            yield from self._due_marks()

    def _gap(self, span: Span) -> bytes:
        places = coordinates(span)
        stored = self._nodes(places) if self._nodes else {}
        if set(places) - stored.keys():
            raise LedgerError("nodes", span, "stored nodes for the entries left out")
        for at in places:
            self._frontier.append_subtree(at.level, stored[at])
        return write(Gap(span.start, span.stop - span.start, [stored[at] for at in places]))


def bundle_lines(
    *,
    origin: str,
    keys: Sequence[Verifier],
    leaves: Iterable[Leaf],
    checkpoints: Sequence[str],
    nodes: Nodes | None = None,
) -> Iterator[bytes]:
    """The lines of a bundle, to stream. Leaves in order; checkpoints are signed notes.

    Leaves left out become gaps, which prove the rest still belongs (an archive, a selection);
    those need `nodes`. Raises LedgerError for leaves out of order or a gap without nodes.
    """
    header: BundleLine = Header(origin, tuple(keys))
    writer = Writer(checkpoints, nodes)
    yield write(header)
    for leaf in leaves:
        yield from writer.leaf(leaf)
    yield from writer.close()


def _entry(payload: bytes) -> bytes:
    if payload[:1] != b"{" or b"\n" in payload:
        raise LedgerError("payload", payload, "one JSON object on one line")
    return payload + b"\n"


def _entries(payloads: Sequence[bytes]) -> list[bytes]:
    """As `_entry` of each, looked at all together."""
    together = b"\n".join(payloads)
    if (b"\n" + together).count(b"\n{") == together.count(b"\n") + 1 == len(payloads):
        return [one + b"\n" for one in payloads]
    return [_entry(one) for one in payloads]


def _whole(hashes: Sequence[bytes]) -> list[bytes]:
    return [hash32("hash", one) for one in hashes]
