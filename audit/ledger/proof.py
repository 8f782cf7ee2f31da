"""Inclusion and consistency proofs: which stored nodes make one, and whether one holds.

Making a proof is two steps, so that a store reads all its nodes in one query: `*_spans` says which
runs of leaves the proof hashes, `coordinates` which stored nodes those need, `resolve` folds them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from audit.ledger.errors import LedgerError, count, hash32
from audit.ledger.merkle import EMPTY_ROOT, Coordinate, fold, node_hash


class Span(NamedTuple):
    """The leaves from `start` up to but not including `stop`."""

    start: int
    stop: int


def inclusion_spans(index: int, size: int) -> list[Span]:
    """Spans of PATH(index, D[size]), from the leaf's sibling up (RFC 9162 section 2.1.3.1).

    Raises LedgerError unless 0 <= index < size.
    """
    count("index", index, most=count("size", size, least=1) - 1)
    low, high, spans = 0, size, list[Span]()
    while high - low > 1:
        middle = low + _split(high - low)
        if index < middle:
            spans.append(Span(middle, high))
            high = middle
        else:
            spans.append(Span(low, middle))
            low = middle
    return spans[::-1]


def consistency_spans(old: int, new: int) -> list[Span]:
    """Spans of PROOF(old, D[new]) (RFC 9162 section 2.1.4.1); empty if old is 0 or equals new.

    Raises LedgerError unless 0 <= old <= new.
    """
    count("old size", old, most=count("new size", new))
    if old in (0, new):
        return []
    low, high, spans = 0, new, list[Span]()
    while high != old:
        middle = low + _split(high - low)
        if old <= middle:
            spans.append(Span(middle, high))
            high = middle
        else:
            spans.append(Span(low, middle))
            low = middle
    if low:
        spans.append(Span(low, high))
    return spans[::-1]


def coordinates(span: Span) -> list[Coordinate]:
    """Perfect subtrees that tile the span, left to right. Raises LedgerError if it is reversed."""
    start, stop = count("start", span.start), count("stop", span.stop, least=span.start)
    places = []
    while start < stop:
        level = (stop - start).bit_length() - 1
        if start:
            level = min(level, (start & -start).bit_length() - 1)
        places.append(Coordinate(level, start >> level))
        start += 1 << level
    return places


def needed(spans: Iterable[Span]) -> list[Coordinate]:
    """Every stored node a proof over these spans reads, once each."""
    return sorted({at for span in spans for at in coordinates(span)})


def resolve(spans: Sequence[Span], nodes: Mapping[Coordinate, bytes]) -> list[bytes]:
    """The proof's hashes from stored nodes. Raises LedgerError naming a node that is not there."""
    try:
        return [fold([nodes[at] for at in coordinates(span)]) for span in spans]
    except KeyError as absent:
        raise LedgerError("node", absent.args[0], "a stored node of this tree") from None


def includes(*, leaf: bytes, index: int, size: int, root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether `proof` shows leaf hash `leaf` at `index` of the tree (RFC 9162 section 2.1.3.2).

    Raises LedgerError for a hash that is not 32 bytes or an index outside the tree.
    """
    count("index", index, most=count("size", size, least=1) - 1)
    made, here, last = hash32("leaf", leaf), index, size - 1
    for step in proof:
        if last == 0:
            return False
        if here & 1 or here == last:
            made = node_hash(hash32("proof", step), made)
            while here and not here & 1:
                here, last = here >> 1, last >> 1
        else:
            made = node_hash(made, hash32("proof", step))
        here, last = here >> 1, last >> 1
    return last == 0 and made == hash32("root", root)


def extends(
    *, old: int, new: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]
) -> bool:
    """Whether `proof` shows that the new tree only appends to the old (RFC 9162 section 2.1.4.2).

    Raises LedgerError for a hash that is not 32 bytes or old > new.
    """
    count("old size", old, most=count("new size", new))
    hash32("old root", old_root), hash32("new root", new_root)
    if old == 0:
        return not proof and old_root == EMPTY_ROOT
    if old == new:
        return not proof and old_root == new_root
    path = [hash32("proof", step) for step in proof]
    if old & (old - 1) == 0:
        path.insert(0, old_root)
    return bool(path) and _climb(old, new, path) == (old_root, new_root)


def _climb(old: int, new: int, path: list[bytes]) -> tuple[bytes, bytes] | None:
    """The two roots the path leads to; None if its length does not fit the sizes."""
    here, last = old - 1, new - 1
    while here & 1:
        here, last = here >> 1, last >> 1
    first = second = path[0]
    for step in path[1:]:
        if last == 0:
            return None
        if here & 1 or here == last:
            first, second = node_hash(step, first), node_hash(step, second)
            while here and not here & 1:
                here, last = here >> 1, last >> 1
        else:
            second = node_hash(second, step)
        here, last = here >> 1, last >> 1
    return (first, second) if last == 0 else None


def _split(size: int) -> int:
    """Largest power of two smaller than size (size > 1)."""
    return 1 << ((size - 1).bit_length() - 1)
