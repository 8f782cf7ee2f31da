"""Which entries differ from what was sealed: two sequences of hashes compared, told in words."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from audit.ledger.bundle.report import Finding, Kind, numbers, plain
from audit.ledger.canonical import read_object
from audit.ledger.errors import LedgerError

NAMED = ("id", "at", "actor", "action", "subject")


@dataclass
class Difference:
    """Blocks whose entries are not those sealed. `sealed` are (number from 1, hash) as proven;
    `found` are (hash, bytes) as listed."""

    sealed: list[tuple[int, bytes]] = field(default_factory=list)
    found: list[tuple[bytes, bytes]] = field(default_factory=list)

    @property
    def false(self) -> set[bytes]:
        """Hashes of what is listed and was never sealed."""
        return {hashed for hashed, _ in self.found} - {hashed for _, hashed in self.sealed}

    @cached_property
    def numbers(self) -> dict[bytes, int]:
        """Entry number of each sealed hash."""
        return {hashed: number for number, hashed in self.sealed}


def explain(block: Difference) -> list[Finding]:
    """Findings, each naming an entry: missing, altered, inserted or re-ordered."""
    places = _places(block)
    in_order = _longest_rise(places)
    moved = {at for at, place in enumerate(places) if place is not None} - in_order
    matched = {place for place in places if place is not None}
    findings = [_moved(block, places, at) for at in sorted(moved)]
    for lost, extra in _stretches(block, places, in_order):
        gone = [at for at in lost if at not in matched]
        new = [at for at in extra if at not in moved]
        both = min(len(gone), len(new))
        pairs = zip(gone[:both], new[:both], strict=True)
        findings += [_altered(block, was, now) for was, now in pairs]
        findings += _missing(block, gone[both:])
        findings += [_inserted(block, places, at) for at in new[both:]]
    return findings


def _places(block: Difference) -> list[int | None]:
    """For each entry found, its place among the sealed ones; a second copy has none."""
    free = {hashed: at for at, (_, hashed) in reversed(list(enumerate(block.sealed)))}
    return [free.pop(hashed, None) for hashed, _ in block.found]


def _longest_rise(places: Sequence[int | None]) -> set[int]:
    """Positions of a longest rising subsequence: the most entries that kept their order."""
    tails: list[int] = []
    ends: list[int] = []
    before: dict[int, int | None] = {}
    for at, place in enumerate(places):
        if place is None:
            continue
        slot = bisect_left(tails, place)
        before[at] = ends[slot - 1] if slot else None
        tails[slot : slot + 1] = [place]
        ends[slot : slot + 1] = [at]
    kept: set[int] = set()
    here = ends[-1] if ends else None
    while here is not None:
        kept.add(here)
        here = before[here]
    return kept


def _stretches(
    block: Difference, places: Sequence[int | None], in_order: set[int]
) -> Iterable[tuple[range, range]]:
    """Between entries that kept their order: places sealed there and positions found there."""
    was = now = 0
    for at in sorted(in_order):
        place = places[at]
        if place is not None:
            yield range(was, place), range(now, at)
            was, now = place + 1, at + 1
    yield range(was, len(block.sealed)), range(now, len(block.found))


def _altered(block: Difference, was: int, now: int) -> Finding:
    number = block.sealed[was][0]
    reads = describe(block.found[now][1])
    words = f"{numbers(number, number)} is not what was sealed. It now reads: {reads}."
    return Finding(Kind.ALTERED, words, number, number)


def _missing(block: Difference, gone: Sequence[int]) -> list[Finding]:
    runs: list[list[int]] = []
    for number in (block.sealed[at][0] for at in gone):
        if runs and runs[-1][1] == number - 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return [
        Finding(Kind.MISSING, f"{numbers(first, last)}: sealed, but not here.", first, last)
        for first, last in runs
    ]


def _inserted(block: Difference, places: Sequence[int | None], at: int) -> Finding:
    after = _after(block, places, at)
    hashed, payload = block.found[at]
    twin = block.numbers.get(hashed)
    what = f"a second copy of entry no. {twin:,}" if twin else "an entry that was never sealed"
    return Finding(Kind.INSERTED, f"{after} stands {what}: {describe(payload)}.")


def _moved(block: Difference, places: Sequence[int | None], at: int) -> Finding:
    place = places[at]
    number = block.sealed[place][0] if place is not None else 0
    after = _after(block, places, at).lower()
    words = f"{numbers(number, number)} is out of its place: it stands {after}."
    return Finding(Kind.REORDERED, words, number, number)


def _after(block: Difference, places: Sequence[int | None], at: int) -> str:
    for before in range(at - 1, -1, -1):
        place = places[before]
        if place is not None:
            return f"After entry no. {block.sealed[place][0]:,}"
    first = block.sealed[0][0] if block.sealed else 1
    return f"Before entry no. {first:,}"


def describe(payload: bytes) -> str:
    """An entry in a few words: id, time, actor, action, subject; or that it can not be read."""
    try:
        entry = read_object(payload)
    except LedgerError:
        return f"(unreadable) {plain(payload[:60])}"
    parts = [f"{name} {plain(entry[name])}" for name in NAMED if entry.get(name) not in (None, "")]
    return ", ".join(parts) or plain(payload[:60])
