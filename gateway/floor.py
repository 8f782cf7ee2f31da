"""The side towards the machines: loads what should be held, reads it back, notes every shot.

Whatever happened is in the outbox before anything else is done, together with the note that it is.
"""

import json
import logging
import sqlite3
import threading
import time
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from gateway.clock import Clock
from gateway.driver import (
    Driver,
    DriverError,
    Equipped,
    Place,
    RefusedError,
    Shot,
    SilentError,
    Station,
)
from gateway.faults import Faults
from gateway.outbox import PREFIX, Outbox
from gateway.pace import BackOff, Pace
from gateway.ranges import ENDS_BY, Settings, outside
from gateway.store import Store
from gateway.wanted import CURSOR, Wanted, all_wanted, moved, slot_at

FIGURES = ("shot_time", "dose_mass", "beverage_mass", "water_volume", "brew_temperature")
PLACES, POINTS = 6, 1500  # of a figure behind the point, and of a trace: what the interface takes
FAILURES = ("no_answer", "driver")  # of one slot, until it is read back
log = logging.getLogger("gateway.floor")


class Floor:
    """The only one who speaks to the driver."""

    def __init__(self, *, store: Store, driver: Driver, clock: Clock, pace: Pace) -> None:
        self.store, self.driver, self.clock, self.pace = store, driver, clock, pace
        self.outbox = Outbox(store)
        self.faults = Faults(self.outbox, clock)
        self.equipped: dict[Station, Equipped] = {}
        self.not_before: dict[Place, float] = {}
        self.read_at: dict[Place, float] = {}
        self.next_round = 0.0
        self.given_before = self.outbox.given

    def run(self, stop: threading.Event) -> None:
        """Until told to stop; a driver that fails is begun again."""
        back_off = BackOff(self.pace.round, self.pace.retry)
        while not stop.is_set():
            try:
                self.watch(stop)
                problem: Exception = DriverError("the stream of shots ended")
            except DriverError as failed:
                problem = failed
            except sqlite3.Error:
                raise  # the store's, not the driver's
            except Exception as failed:
                problem = _in_its_own_way(failed)
            if not stop.is_set():
                self.faults.begin(None, "driver", str(problem) or "the driver failed")
                stop.wait(back_off.failed())

    def watch(self, stop: threading.Event) -> None:
        """Take shots as they come, and make the round in between."""
        while not self.store.note(CURSOR):  # nothing is known of any slot yet
            self.round()
            if stop.wait(self.pace.send):
                return
        for shot in self.driver.shots(self.marks()):
            if shot is not None:
                self.took(shot)
            if stop.is_set():
                return
            if time.monotonic() >= self.next_round:
                self.round()
                self.next_round = time.monotonic() + self.pace.round

    def marks(self) -> dict[Station, str]:
        """The last shot of each station that is in the outbox, or was."""
        return {
            Station(row["machine"], row["station"]): row["mark"]
            for row in self.store.rows("SELECT * FROM mark")
        }

    def took(self, shot: Shot) -> None:
        """Put a shot into the outbox, once, with the mark to go on from."""
        self.mind_the_clock()
        at = shot.place.at
        with self.store.writing():
            if self.marks().get(at) == shot.mark:
                return
            self.store.run(
                "INSERT OR REPLACE INTO mark (machine, station, mark) VALUES (?, ?, ?)",
                at.machine,
                at.station,
                shot.mark,
            )
            if shot.missed:
                words = f"{shot.missed} shots before {shot.mark} have no figures any more"
                self.faults.happened(at, "shots_missed", words)
            slot = slot_at(self.store, shot.place)
            if slot is None:
                self.faults.happened(at, "unknown_slot", f"a shot of slot {shot.place}")
            else:
                self.outbox.put("shot.v1", data_of(shot, slot.slot), self.clock.now())

    def round(self) -> None:
        """Who answers; then load and read back whatever is due."""
        self.mind_the_clock()
        self.look()
        for slot in all_wanted(self.store):
            if slot.placement is None or time.monotonic() < self.not_before.get(slot.place, 0.0):
                continue
            try:
                self.attend(slot)
            except SilentError as problem:
                self._failed(slot.place, "no_answer", problem)
            except DriverError as problem:
                self._failed(slot.place, "driver", problem)
            except sqlite3.Error:
                raise
            except Exception as problem:
                self._failed(slot.place, "driver", _in_its_own_way(problem))
        self.faults.end(None, "driver")

    def mind_the_clock(self) -> None:
        """Where the box's clock was set, move what this run noted by the old one."""
        if by := self.clock.was_set():
            count = self.outbox.move_times(self.given_before, by)
            log.warning("the clock was set by %s: %d waiting events moved", by, count)

    def look(self) -> None:
        """Ask the driver what there is."""
        described = self.driver.describe()
        self.equipped = {each.at: each for each in described.stations}
        for each in described.stations:
            self._answers(each.at, answers=each.answers)
            if each.answers:
                self.faults.end(each.at, "silent")
            else:
                self.faults.begin(each.at, "silent", f"station {each.at} does not answer")

    def attend(self, slot: Wanted) -> None:
        """One slot: load it if it is to be and may be, and read it back when it is time."""
        if slot.to_load and self._is_due(slot) and self.may_load(slot):
            self.load(slot)
            self.read_back(slot)
        elif time.monotonic() >= self.read_at.get(slot.place, 0.0):
            self.read_back(slot)

    def _is_due(self, slot: Wanted) -> bool:
        """Whether it was never loaded, or is to be restored and was not yet for this text."""
        if self._held(slot.slot)["loaded"] != (slot.digest or None):
            return True
        sql = "SELECT 1 FROM restored WHERE slot = ? AND text = ?"
        return bool(slot.restore) and not self.store.rows(sql, slot.slot, slot.restore)

    def may_load(self, slot: Wanted) -> bool:
        """Whether it fits its digest, the ranges it came with, ours, and the machine's."""
        at, number = slot.place.at, slot.place.number
        found = slot.refusal() or moved(self.store, slot) or self._beyond_the_machine(slot)
        for code in ("digest", "problem", "out_of_range", "unknown_slot"):
            if not found or found[0] != code:
                self.faults.end(at, code, number)
        if found:
            self.faults.begin(at, found[0], f"slot {number} is not loaded: {found[1]}", number)
        return found is None

    def _beyond_the_machine(self, slot: Wanted) -> tuple[str, str] | None:
        known = self.equipped.get(slot.place.at)
        if known is None or slot.place.number not in known.slots:
            return "unknown_slot", "the driver knows no such slot"
        words = list(outside(slot.settings, known.settings))
        ending = slot.settings.get("ends_by")
        if ending and known.endings and ending.value not in known.endings:
            words.append(f"ends_by is {ending.value}; allowed: {', '.join(known.endings)}")
        return ("out_of_range", "; ".join(words)) if words else None

    def load(self, slot: Wanted) -> None:
        """Set the slot. A kill before the note is made sets it again: the same twice is once."""
        try:
            self.driver.load(slot.place, slot.settings)
        except RefusedError as problem:
            self._failed(slot.place, "not_taken", problem)
            return
        data = {"slot": slot.slot, "placement": slot.placement, "digest": slot.digest}
        with self.store.writing():
            self.outbox.put("loaded.v1", data, self.clock.now())
            self.store.run("UPDATE held SET loaded = ? WHERE slot = ?", slot.digest, slot.slot)
            restored = "INSERT OR REPLACE INTO restored (slot, text) VALUES (?, ?)"
            self.store.run(restored, slot.slot, slot.restore)
            self.faults.end(slot.place.at, "not_taken", slot.place.number)
        log.info("slot %s loaded", slot.place)

    def read_back(self, slot: Wanted) -> None:
        """Read the slot; tell what it holds where that changed, or was not told for long."""
        found = told_of(self.driver.read_back(slot.place))
        self.read_at[slot.place] = time.monotonic() + self.pace.read_back
        for code in FAILURES:
            self.faults.end(slot.place.at, code, slot.place.number)
        data: dict[str, Any] = {"slot": slot.slot, "placement": slot.placement, "settings": found}
        if unread := self._unread(slot, found):
            data["unread"] = unread
        held, now = self._held(slot.slot), self.clock.now()
        seen = json.dumps([slot.placement, found], sort_keys=True)
        unchanged = held["found"] == seen
        if unchanged and (
            0 <= now.timestamp() - held["told"] < self.pace.tell or self._waits(slot.slot)
        ):
            return
        with self.store.writing():
            self.outbox.put("read_back.v1", data, now)
            told = "UPDATE held SET found = ?, told = ? WHERE slot = ?"
            self.store.run(told, seen, now.timestamp(), slot.slot)

    def _unread(self, slot: Wanted, found: Mapping[str, Any]) -> list[str]:
        """What should be set and this machine knows nothing of: nobody may take it for unset."""
        known = self.equipped.get(slot.place.at)
        if known is None:
            return []
        shown = {*known.settings, *([ENDS_BY] if known.endings else [])}
        return sorted(set(slot.codes) - shown - set(found))

    def _waits(self, slot: int) -> bool:
        """Whether a read-back of the slot is still to be sent: one more would say nothing new."""
        sql = "SELECT 1 FROM event WHERE type = ? AND json_extract(data, '$.slot') = ? LIMIT 1"
        return bool(self.store.rows(sql, PREFIX + "read_back.v1", slot))

    def _held(self, slot: int) -> Mapping[str, Any]:
        return dict(self.store.rows("SELECT * FROM held WHERE slot = ?", slot)[0])

    def _answers(self, at: Station, *, answers: bool) -> None:
        sql = "INSERT OR REPLACE INTO answering (machine, station, answers) VALUES (?, ?, ?)"
        known = self.store.rows(
            "SELECT answers FROM answering WHERE machine = ? AND station = ?",
            at.machine,
            at.station,
        )
        if not known or bool(known[0]["answers"]) != answers:
            self.store.run(sql, at.machine, at.station, int(answers))

    def _failed(self, place: Place, code: str, problem: DriverError) -> None:
        self.faults.begin(place.at, code, f"slot {place.number}: {problem}", place.number)
        self.not_before[place] = time.monotonic() + self.pace.retry


def _in_its_own_way(failed: Exception) -> DriverError:
    """A driver of somebody else's: its faults must not end ours."""
    log.error("the driver failed", exc_info=failed)
    return DriverError(f"{type(failed).__name__}: {failed}")


def told_of(settings: Settings) -> dict[str, dict[str, str]]:
    """Settings as they travel."""
    return {code: {"value": amount.value, "unit": amount.unit} for code, amount in settings.items()}


def data_of(shot: Shot, slot: int) -> dict[str, Any]:
    """A shot as it travels: figures as exact decimals, the trace as plain numbers, not too many."""
    data: dict[str, Any] = {"slot": slot, "pulled_at": shot.pulled_at.isoformat()}
    for name in FIGURES:
        if (value := getattr(shot, name)) is not None:
            data[name] = written(Decimal(str(value)))
    if shot.trace and len(shot.trace.t) > 1:
        channels = ("t", "pressure", "flow", "mass", "temperature")
        data["trace"] = {
            name: list(values[:: 1 + (len(values) - 1) // POINTS])
            for name in channels
            if (values := getattr(shot.trace, name))
        }
    return data


def written(value: Decimal) -> str:
    """A figure without an exponent, to the places that the interface takes."""
    rounded = round(value, PLACES) if value.is_finite() else value
    return format(value if value == rounded else rounded, "f")
