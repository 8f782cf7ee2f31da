"""What a checkpoint says of time, under its signature: extension lines of C2SP tlog-checkpoint.

    number 1234                                      which checkpoint it is, counted from 1
    time 2026-11-28T12:41:16.123456Z                 when it was signed, by the signer's clock
    through 2026-11-28T12:41:16.012345Z 1253         by then every transaction below 1253 but the
    open 1240 2026-11-28T12:40:10.123456Z            open ones had ended, and what they wrote is
    floor 1239 9223372036854775807                   sealed here; 1240 had not begun at that time
    late 3 1230-1231                                 entries marked late: so many by now, and which
    restored                                         transactions count anew: another cluster

Entries count from 0. The specification calls extension lines opaque to others, and advises against
them where nobody audits them; the check here does (window.py). Notes without them are older.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise

from audit.ledger.errors import LedgerError, decimal_int

FORM = "%Y-%m-%dT%H:%M:%S.%fZ"
FIRST = "number "
Run = tuple[int, int]


def moment(at: datetime) -> str:
    """A time as it is signed, and as entries are sealed with: UTC to the microsecond."""
    return at.astimezone(UTC).strftime(FORM)


def read_moment(text: str) -> datetime:
    """Parse a time written by `moment`. Raises LedgerError."""
    try:
        at = datetime.strptime(text, FORM).replace(tzinfo=UTC)
    except (ValueError, TypeError):
        at = None
    if at is None or moment(at) != text:
        raise LedgerError("time", text, "UTC as 2026-11-28T12:41:16.123456Z")
    return at


@dataclass(frozen=True)
class Through:
    """A moment by which every transaction below `next` had ended, but those `open`.

    What had ended and was committed is sealed. Each open one has a time at which it had not begun.
    """

    time: str
    next: int
    open: Mapping[int, str] = field(default_factory=dict)

    def ended(self, txid: int) -> bool:
        """Whether this transaction had ended: what it wrote was there to be sealed, or never is."""
        return txid < self.next and txid not in self.open


@dataclass(frozen=True)
class Stamp:
    """The lines of one checkpoint; see above. `late` are the runs (first, last) it marks itself,
    `marked` is how many entries it and all before it marked."""

    number: int
    time: str
    through: Through | None
    floor: tuple[int, int]
    marked: int = 0
    late: tuple[Run, ...] = ()
    restored: bool = False

    @property
    def lines(self) -> list[str]:
        """The extension lines."""
        return list(self._lines())

    def marks(self, index: int) -> bool:
        """Whether it marks this entry (from 0) as late."""
        return any(first <= index <= last for first, last in self.late)

    @property
    def marked_here(self) -> int:
        """How many entries it marks itself."""
        return sum(last - first + 1 for first, last in self.late)

    def _lines(self) -> Iterator[str]:
        yield f"{FIRST}{self.number}"
        yield f"time {self.time}"
        if self.through:
            yield f"through {self.through.time} {self.through.next}"
            yield from (f"open {txid} {at}" for txid, at in sorted(self.through.open.items()))
        yield f"floor {self.floor[0]} {self.floor[1]}"
        runs = (str(a) if a == b else f"{a}-{b}" for a, b in self.late)
        yield " ".join(["late", str(self.marked), *runs])
        if self.restored:
            yield "restored"


def runs_of(indexes: Iterable[int]) -> tuple[Run, ...]:
    """Numbers in their order as runs of neighbours, each its first and last."""
    runs, every = list[Run](), list(indexes)
    if every == list(range(every[0], every[0] + len(every)) if every else []):  # the usual case
        return ((every[0], every[-1]),) if every else ()
    for at in every:
        if runs and runs[-1][1] == at - 1:
            runs[-1] = (runs[-1][0], at)
        else:
            runs.append((at, at))
    return tuple(runs)


def read_stamp(lines: Sequence[str]) -> Stamp | None:
    """Parse extension lines; those of others, before or after, are ignored.

    None if there are none of ours. Raises LedgerError if there are and they are not as `lines`
    writes them, so that nothing can be said in two ways.
    """
    start = next((at for at, line in enumerate(lines) if line.startswith(FIRST)), None)
    if start is None:
        return None
    ours = list(lines[start:])
    try:
        made = _parsed(ours)
        whole = made.lines == ours[: len(made.lines)]
    except (ValueError, IndexError, KeyError) as error:
        raise LedgerError("checkpoint", "\n".join(ours), "its lines of time as signed") from error
    if not whole or any(a[1] + 1 >= b[0] for a, b in pairwise(made.late)):
        raise LedgerError("checkpoint", "\n".join(ours), "its lines of time as signed")
    return made


def _parsed(lines: list[str]) -> Stamp:
    words: dict[str, list[str]] = {}
    open_: dict[int, str] = {}
    for line in lines:
        name, *rest = line.split(" ")
        if name == "open":
            open_[_number(rest[0])] = _time(rest[1])
        else:
            words.setdefault(name, rest)
    through = words.get("through")
    return Stamp(
        number=_number(words["number"][0]),
        time=_time(words["time"][0]),
        through=Through(_time(through[0]), _number(through[1]), open_) if through else None,
        floor=(_number(words["floor"][0]), int(words["floor"][1])),
        marked=_number(words["late"][0]),
        late=tuple(_run(text) for text in words["late"][1:]),
        restored="restored" in words,
    )


def _run(text: str) -> Run:
    first, _, last = text.partition("-")
    run = _number(first), _number(last or first)
    if run[0] > run[1]:
        raise ValueError(text)
    return run


def _number(text: str) -> int:
    return decimal_int("number", text)


def _time(text: str) -> str:
    return moment(read_moment(text))
