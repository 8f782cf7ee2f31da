"""The same refused attempt, entered again and again, as one line of a list.

Attempts by the hundred are entered as a few (audit.capture.refusals), each saying how many there
were. A list shows neighbours that differ in nothing else as one line: how often, since when.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Self

from audit.capture.models import Entry, Operation
from audit.capture.refusals import MINUTE

COUNTED = re.compile(r" \(One of (\d+) tries within a minute\.\)$")


@dataclass(frozen=True, slots=True)
class Attempts:
    """Entries about the same attempt, newest first; most are one entry about anything."""

    entries: Sequence[Entry]

    @property
    def newest(self) -> Entry:
        """The one that the line shows."""
        return self.entries[0]

    @property
    def tries(self) -> int:
        """How often it was tried, at least; within a minute a later count holds the earlier."""
        total, minute = 0, Minute()
        for entry in reversed(self.entries):
            minute = minute.with_one(entry)
            total += minute.more
        return total


@dataclass(frozen=True, slots=True)
class Minute:
    """Tries counted since `begun`, and how `more` of them than before the last entry."""

    begun: datetime | None = None
    tries: int = 0
    more: int = 0

    def with_one(self, entry: Entry) -> Self:
        """After one more entry, which may be the first of another minute."""
        same = self.begun is not None and entry.at - self.begun < timedelta(seconds=MINUTE)
        before = self.tries if same else 0
        tries = max(_told(entry), before + 1)
        return type(self)(self.begun if same else entry.at, tries, tries - before)


def _told(entry: Entry) -> int:
    """As how many tries the entry counts itself; 1 where it says nothing."""
    found = COUNTED.search(entry.reason)
    return int(found[1]) if found else 1


def answer(entry: Entry) -> str:
    """Why it was refused, without the count."""
    return COUNTED.sub("", entry.reason)


def attempts_of(entries: Iterable[Entry]) -> list[Attempts]:
    """Neighbours that are the same refused attempt together, everything else by itself."""
    runs: list[list[Entry]] = []
    for entry in entries:
        if runs and _same(runs[-1][0], entry):
            runs[-1].append(entry)
        else:
            runs.append([entry])
    return [Attempts(run) for run in runs]


def _same(one: Entry, other: Entry) -> bool:
    return one.operation == Operation.REFUSED == other.operation and _key(one) == _key(other)


def _key(entry: Entry) -> tuple[object, ...]:
    who = (entry.actor_id, entry.actor, entry.channel, entry.client_addr, entry.action)
    what = (entry.subject_type, entry.subject_id, entry.site_id, str(entry.changes))
    return *who, *what, answer(entry)
