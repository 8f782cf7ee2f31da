"""What happened and is not yet known to the server: numbered once, kept until it says so."""

import json
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from sqlite3 import Row
from typing import Any

from gateway.store import Store

PREFIX = "portaledger."
GIVEN = "sequence"  # the last number given
MAX_EVENTS = 500  # in one batch
MAX_BYTES = 900_000  # of one batch before gzip: below both limits of the interface
SHIFTED = ("pulled_at",)  # times inside the data that the gateway's clock made


@dataclass(frozen=True)
class Event:
    """One event of the outbox."""

    sequence: int
    id: str
    type: str
    time: datetime
    data: dict[str, Any]


class Outbox:
    """Events in the order of their numbers, 1 first, without a gap."""

    def __init__(self, store: Store) -> None:
        self.store = store

    def put(self, kind: str, data: Mapping[str, Any], at: datetime) -> int:
        """Number an event and keep it; once committed, it lasts. ``kind`` without the prefix."""
        with self.store.writing():
            sequence = self.given + 1
            self.store.keep(GIVEN, str(sequence))
            self.store.run(
                "INSERT INTO event (sequence, id, type, time, data) VALUES (?, ?, ?, ?, ?)",
                sequence,
                str(uuid.uuid4()),
                PREFIX + kind,
                at.isoformat(),
                json.dumps(data, separators=(",", ":")),
            )
        return sequence

    @property
    def given(self) -> int:
        """The last number given; 0 before the first."""
        return int(self.store.note(GIVEN, "0"))

    def waiting(self) -> int:
        """How many events the server has not said to know."""
        return int(self.store.rows("SELECT count(*) AS n FROM event")[0]["n"])

    def batch(self, most: int = MAX_EVENTS, size: int = MAX_BYTES) -> list[Event]:
        """The first events that wait: as many as one batch takes, and one at least."""
        found: list[Event] = []
        total = 0
        for row in self.store.rows("SELECT * FROM event ORDER BY sequence LIMIT ?", most):
            total += len(row["data"]) + 500
            if found and total > size:
                break
            found.append(_event(row))
        return found

    def settle(self, events: Sequence[Event]) -> None:
        """Forget events that the server accounted for, one by one.

        Never whatever lies below some number: in a folder put back from a copy, an event that was
        never sent may have the number of one that was.
        """
        with self.store.writing():
            for each in events:
                self.store.run("DELETE FROM event WHERE id = ?", each.id)

    def go_on_after(self, last: int, clashing: Sequence[Event]) -> bool:
        """Give no number again that the server has; whether there were any.

        That is so where the folder was put back from a copy: numbers given since are forgotten
        here and known there. What was kept under one of them gets another, and is not lost.
        """
        with self.store.writing():
            behind = last > self.given
            if behind:
                self.store.keep(GIVEN, str(last))
            for each in clashing:
                number = self.given + 1
                self.store.keep(GIVEN, str(number))
                self.store.run("UPDATE event SET sequence = ? WHERE id = ?", number, each.id)
        return behind or bool(clashing)

    def move_times(self, after: int, by: timedelta) -> int:
        """The clock was set: move the times of what waits and was noted by the clock before.

        ``after``: the last number given before this clock was looked at first. How many there were.
        """
        with self.store.writing():
            rows = self.store.rows("SELECT * FROM event WHERE sequence > ?", after)
            for event in map(_event, rows):
                data = _moved(event.data, by)
                self.store.run(
                    "UPDATE event SET time = ?, data = ? WHERE sequence = ?",
                    (event.time + by).isoformat(),
                    json.dumps(data, separators=(",", ":")),
                    event.sequence,
                )
        return len(rows)

    def set_aside(self, event: Event, why: str, at: datetime) -> bool:
        """Keep an event that no batch can carry, and report a fault under its number instead.

        False where it is that fault: it stays, and so does what was kept for it.
        """
        if self.store.rows("SELECT 1 FROM set_aside WHERE sequence = ?", event.sequence):
            return False
        data = {"code": "not_sendable", "words": f"{event.type}: {why}"[:300]}
        with self.store.writing():
            self.store.run(
                "INSERT INTO set_aside (sequence, event, why) VALUES (?, ?, ?)",
                event.sequence,
                json.dumps([event.id, event.type, event.time.isoformat(), event.data]),
                why,
            )
            self.store.run(
                "UPDATE event SET id = ?, type = ?, time = ?, data = ? WHERE sequence = ?",
                str(uuid.uuid4()),
                PREFIX + "fault.v1",
                at.isoformat(),
                json.dumps(data),
                event.sequence,
            )
        return True


def cloud_event(
    event: Event, *, source: str, schemas: str, shift: timedelta = timedelta()
) -> dict[str, Any]:
    """The event as it travels (CloudEvents 1.0).

    Times were made by the gateway's clock; they are shifted by what the signature's moment is
    shifted by, so that all times in one batch are of one clock and the server can correct them.
    """
    data = _moved(event.data, shift)
    return {
        "specversion": "1.0",
        "id": event.id,
        "source": source,
        "type": event.type,
        "time": rfc3339(event.time + shift),
        "sequence": str(event.sequence),
        "datacontenttype": "application/json",
        "dataschema": f"{schemas}{event.type}.json",
        "data": data,
    }


def _moved(data: Mapping[str, Any], by: timedelta) -> dict[str, Any]:
    """Data with the times that the gateway's clock made, moved."""
    moved = dict(data)
    for name in SHIFTED:
        if name in moved:
            moved[name] = rfc3339(datetime.fromisoformat(moved[name]) + by)
    return moved


def rfc3339(moment: datetime) -> str:
    """A moment in UTC as RFC 3339 has it, to the millisecond."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _event(row: Row) -> Event:
    return Event(
        row["sequence"],
        row["id"],
        row["type"],
        datetime.fromisoformat(row["time"]),
        json.loads(row["data"]),
    )


def numbers(events: Sequence[Event]) -> str:
    """Which events these are, for the log."""
    return f"{events[0].sequence} to {events[-1].sequence}"
