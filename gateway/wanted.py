"""What slots should hold, as the server said last: kept here, so that a bar without a line goes on.

What does not fit its digest, has a problem or lies outside hard ranges is never handed to a driver.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import rfc8785

from gateway.client import Fetched, LineError
from gateway.driver import Place
from gateway.ranges import RANGES, Amount, Range, Settings, outside
from gateway.store import Store

# What reading somebody else's JSON may raise.
UNREADABLE = (KeyError, TypeError, ValueError, AttributeError, ArithmeticError)
CURSOR, ETAG = "cursor", "etag"


@dataclass(frozen=True)
class Wanted:
    """One slot and what it should hold, as it was served."""

    body: Mapping[str, Any]

    @property
    def slot(self) -> int:
        """The server's number of the slot."""
        return int(self.body["slot"])

    @property
    def place(self) -> Place:
        """Which slot of which station it is."""
        body = self.body
        return Place(str(body["machine"]), int(body["station"]), int(body["number"]))

    @property
    def placement(self) -> int | None:
        """What is in force for it; None where nothing is."""
        return self.body.get("placement")

    @property
    def digest(self) -> str:
        """The digest that was served with it."""
        return str(self.body.get("digest") or "")

    @property
    def restore(self) -> str:
        """Why it is to be loaded again although it was: once for each text; mostly empty."""
        return str(self.body.get("restore") or "")

    @property
    def settings(self) -> Settings:
        """What it should be set to."""
        return {
            code: Amount(str(given["value"]), str(given.get("unit") or ""))
            for code, given in self.body["settings"].items()
        }

    @property
    def codes(self) -> list[str]:
        """Which settings there are, whatever they say."""
        given = self.body.get("settings")
        return list(given) if isinstance(given, dict) else []

    @property
    def to_load(self) -> bool:
        """Whether it is the gateway's to load: signed, and not merely noted by hand."""
        return self.placement is not None and bool(self.body.get("locked"))

    def refusal(self) -> tuple[str, str] | None:
        """Why this is not loaded, as a code and words; None where it may be."""
        if self.body.get("problem"):
            return "problem", str(self.body["problem"])
        try:
            if digest_of(self.body) != self.digest:
                return "digest", "These settings do not fit the digest they were signed with."
            if not self.settings:
                return "digest", "There are no settings to load."
            found = [*outside(self.settings), *outside(self.settings, self._served())]
        except UNREADABLE as problem:
            return "digest", f"These settings cannot be read: {problem!r}."
        return ("out_of_range", "; ".join(dict.fromkeys(found))) if found else None

    def _served(self) -> Mapping[str, Range]:
        """The ranges that came with it; for what has none, our own."""
        given = self.body.get("ranges") or {}
        return {**RANGES, **{code: _range(each) for code, each in given.items()}}


def digest_of(body: Mapping[str, Any]) -> str:
    """SHA-256 over the canonical JSON (RFC 8785) of what is signed of a slot."""
    signed = {name: body.get(name) for name in ("placement", "settings", "slot")}
    return hashlib.sha256(rfc8785.dumps(signed)).hexdigest()


def keep(store: Store, fetched: Fetched) -> int:
    """Put an answer of the server in place of what was wanted before; how many slots it names.

    Raises LineError where it is no such answer; nothing is changed then.
    """
    if fetched.body is None:
        return 0
    try:
        slots = [(Wanted(each), int(each["slot"]), Wanted(each).place) for each in _slots(fetched)]
        cursor = str(fetched.body["cursor"])
    except UNREADABLE as problem:
        why = f"an answer that does not say what slots should hold: {problem!r}"
        raise LineError(why) from problem
    with store.writing():
        if fetched.body.get("whole"):
            store.run("DELETE FROM wanted")
        for wanted, slot, place in slots:
            store.run(
                "INSERT OR REPLACE INTO wanted (slot, machine, station, number, body)"
                " VALUES (?, ?, ?, ?, ?)",
                slot,
                place.machine,
                place.station,
                place.number,
                json.dumps(wanted.body),
            )
            store.run("INSERT OR IGNORE INTO held (slot) VALUES (?)", slot)
            pin(store, wanted)
        for name, value in ((CURSOR, cursor), (ETAG, fetched.etag)):
            store.keep(name, value)
    return len(slots)


def pin(store: Store, wanted: Wanted) -> None:
    """Keep the first digest seen of a placement: its settings never change."""
    if wanted.placement is not None and wanted.refusal() is None:
        sql = "INSERT OR IGNORE INTO pinned (placement, digest) VALUES (?, ?)"
        store.run(sql, wanted.placement, wanted.digest)


def moved(store: Store, wanted: Wanted) -> tuple[str, str] | None:
    """Why a placement is not loaded although it fits its digest: the first one was another."""
    sql = "SELECT digest FROM pinned WHERE placement = ?"
    found = store.rows(sql, wanted.placement)
    if found and found[0]["digest"] != wanted.digest:
        return "digest", "This placement was served with another digest before."
    return None


def _slots(fetched: Fetched) -> list[Mapping[str, Any]]:
    """The slots of an answer."""
    found = (fetched.body or {})["slots"]
    if not isinstance(found, list):
        raise TypeError("slots")
    return found


def all_wanted(store: Store) -> Iterator[Wanted]:
    """Every slot the server named."""
    for row in store.rows("SELECT body FROM wanted ORDER BY machine, station, number"):
        yield Wanted(json.loads(row["body"]))


def slot_at(store: Store, place: Place) -> Wanted | None:
    """The slot at a place; None where the server named none there."""
    found = store.rows(
        "SELECT body FROM wanted WHERE machine = ? AND station = ? AND number = ?",
        place.machine,
        place.station,
        place.number,
    )
    return Wanted(json.loads(found[0]["body"])) if found else None


def _range(given: Mapping[str, Any]) -> Range:
    return Range(Decimal(given["low"]), Decimal(given["high"]), str(given["unit"]))
