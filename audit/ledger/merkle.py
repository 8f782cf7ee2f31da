"""Hashes of an RFC 9162 Merkle tree and its frontier, which grows without reading the leaves.

A perfect subtree is a node (level, offset): it covers the leaves from offset x 2^level, 2^level of
them, and never changes once complete, so it can be stored insert-only.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import NamedTuple

from audit.ledger.errors import LedgerError, count, hash32

EMPTY_ROOT = sha256(b"").digest()  # RFC 9162 section 2.1.1, MTH of no leaves


class Coordinate(NamedTuple):
    """Place of a perfect subtree: level 0 are the leaves."""

    level: int
    offset: int


class Node(NamedTuple):
    """A complete perfect subtree and its hash (32 bytes)."""

    level: int
    offset: int
    hash: bytes


def leaf_hash(data: bytes) -> bytes:
    """SHA-256(0x00 || data), RFC 9162 section 2.1.1."""
    return sha256(b"\x00" + data).digest()


def leaf_hashes(every: Iterable[bytes]) -> list[bytes]:
    """The leaf hash of each, in half the time of one call for each."""
    return [sha256(b"\x00" + data).digest() for data in every]


def node_hash(left: bytes, right: bytes) -> bytes:
    """SHA-256(0x01 || left || right), RFC 9162 section 2.1.1."""
    return sha256(b"\x01" + left + right).digest()


def root(hashes: Iterable[bytes]) -> bytes:
    """Root over leaf hashes (each 32 bytes) in order; no leaves give SHA-256 of nothing."""
    frontier = Frontier()
    frontier.extend([hash32("leaf hash", one) for one in hashes])
    return frontier.root()


class Frontier:
    """The perfect subtrees of the first `size` leaves, one per set bit of `size`.

    It is all a sealer needs to append: at most 62 hashes. `hashes` lists them left to right,
    which is from the highest level down. Raises LedgerError if their number is not the number
    of set bits of the size.
    """

    def __init__(self, size: int = 0, hashes: Sequence[bytes] = ()) -> None:
        self.size = count("size", size)
        levels = [level for level in reversed(range(size.bit_length())) if size >> level & 1]
        if len(levels) != len(hashes):
            raise LedgerError("hashes", len(hashes), f"{len(levels)} hashes for size {size}")
        checked = [hash32("hash", one) for one in hashes]
        self._open = dict(zip(levels, checked, strict=True))

    @property
    def hashes(self) -> list[bytes]:
        """The subtree hashes, left to right."""
        return [self._open[level] for level in sorted(self._open, reverse=True)]

    def copy(self) -> Frontier:
        """An independent frontier of the same leaves."""
        return Frontier(self.size, self.hashes)

    def root(self) -> bytes:
        """Root of the leaves so far (32 bytes)."""
        return fold(self.hashes)

    def append(self, hashes: Sequence[bytes]) -> list[Node]:
        """Append leaves; return every interior node (level 1 and up) they complete.

        Raises LedgerError naming a leaf hash that is not 32 bytes.
        """
        for one in hashes:
            hash32("leaf hash", one)
        runs = self.extend(hashes)
        return [
            Node(level, first + at, made)
            for level, (first, run) in enumerate(runs, start=1)
            for at, made in enumerate(run)
        ]

    def extend(self, hashes: Sequence[bytes]) -> list[tuple[int, list[bytes]]]:
        """As `append` for hashes known to be sound: (first offset, hashes) per level from 1 up."""
        runs: list[tuple[int, list[bytes]]] = []
        run, level, size = list(hashes), 0, self.size
        self.size += len(run)
        while run:
            if size >> level & 1:
                run = [self._open.pop(level), *run]
            if len(run) & 1:
                self._open[level], run = run[-1], run[:-1]
            pairs = iter(run)
            run = [sha256(b"\x01" + a + b).digest() for a, b in zip(pairs, pairs, strict=True)]
            level += 1
            if run:
                runs.append((size >> level, run))
        return runs

    def append_subtree(self, level: int, subtree: bytes) -> None:
        """Append 2^level leaves known only by their subtree's hash.

        Raises LedgerError if the size so far is not a multiple of 2^level.
        """
        if self.size % (1 << count("level", level, most=61)):
            raise LedgerError("level", level, f"a subtree aligned at {self.size}")
        made, at = hash32("subtree", subtree), level
        while at in self._open:
            made, at = node_hash(self._open.pop(at), made), at + 1
        self._open[at] = made
        self.size += 1 << level


def fold(hashes: Sequence[bytes]) -> bytes:
    """Hash of the leaves under perfect subtrees given left to right; none give EMPTY_ROOT."""
    if not hashes:
        return EMPTY_ROOT
    made = hashes[-1]
    for left in reversed(hashes[:-1]):
        made = node_hash(left, made)
    return made
