"""The side towards the server: fetches what slots should hold, sends what happened, beats."""

import logging
import threading
import time
from collections.abc import Mapping, Sequence
from datetime import timedelta
from functools import partial
from typing import Any

from gateway import VERSION, wanted
from gateway.client import BASE, LineError, Server, ServerRefusesError, Taken
from gateway.clock import Clock
from gateway.outbox import MAX_EVENTS, Event, Outbox, cloud_event, numbers
from gateway.pace import BackOff, Pace
from gateway.store import Store

BATCHES = 20  # sent in one go
APPLIED = "clock_applied"
log = logging.getLogger("gateway.line")


class Line:
    """Runs in a thread of its own; everything it needs to remember is in the store."""

    def __init__(
        self, *, store: Store, server: Server, enrolled: Mapping[str, Any], driver: str, pace: Pace
    ) -> None:
        self.store, self.server, self.pace, self.driver = store, server, pace, driver
        self.outbox = Outbox(store)
        self.source = str(enrolled["source"])
        self.schemas = str(enrolled["server"]).rstrip("/") + BASE + "schemas/"
        self.back_off = BackOff(pace.send, pace.send * 300)
        self.most = MAX_EVENTS
        self.asked = False  # where the server stands
        self.poll_every = pace.poll
        self.next_poll = self.next_whole = self.next_beat = 0.0

    @property
    def clock(self) -> Clock:
        """The box's clock, as the server's answers corrected it."""
        return self.server.clock

    def run(self, stop: threading.Event) -> None:
        """Until told to stop. Raises RevokedError; the rest passes."""
        wait = 0.0
        while not stop.wait(wait):
            try:
                self.once()
            except (LineError, ServerRefusesError) as problem:
                wait = self.back_off.failed(problem.wait if isinstance(problem, LineError) else 0)
                log.warning("%s; again in %.1f s", problem, wait)
            else:
                self.back_off.succeeded()
                wait = self.pace.send

    def once(self) -> None:
        """Whatever is due: settings first, for a bar waits for them.

        Where they can't be had, the next try is not for them: what happened is not held up.
        """
        now = time.monotonic()
        if now >= self.next_poll:
            self.next_poll = now + self.poll_every
            self.fetch(whole=now >= self.next_whole)
        if now >= self.next_beat:
            self.beat()
            self.next_beat = now + self.pace.heartbeat
        self.send()

    def fetch(self, *, whole: bool = False) -> None:
        """Ask what slots should hold; now and then everything, in case something was missed."""
        whole = whole or not self.store.note(wanted.CURSOR)
        since = "" if whole else self.store.note(wanted.CURSOR)
        etag = "" if whole else self.store.note(wanted.ETAG)
        fetched = self.server.settings(since=since, etag=etag)
        if count := wanted.keep(self.store, fetched):
            log.info("%d slots: what they should hold", count)
        if whole:
            self.next_whole = time.monotonic() + self.pace.whole
        self._keep_clock()

    def beat(self) -> None:
        """Say that we live, unless an earlier heartbeat still waits to be sent."""
        kind = "heartbeat.v1"
        waits = "SELECT 1 FROM event WHERE type = ? LIMIT 1"
        if self.store.rows(waits, "portaledger." + kind):
            return
        stations = self.store.rows("SELECT * FROM answering ORDER BY machine, station")
        data = {
            "version": VERSION,
            "driver": self.driver,
            "waiting": self.outbox.waiting(),
            "clock_offset": -round(self.clock.measured.total_seconds(), 3),
            "stations": [
                {
                    "machine": row["machine"],
                    "station": row["station"],
                    "answers": bool(row["answers"]),
                }
                for row in stations
            ],
        }
        self.outbox.put(kind, data, self.clock.now())

    def send(self) -> None:
        """Send what waits, lowest number first; what else is due gets its turn in between."""
        if not self.asked:  # an empty batch: its answer says which numbers are taken
            self._settle([], self.server.send(lambda _shift: []))
            self.asked = True
        for _ in range(BATCHES):
            if not (events := self.outbox.batch(self.most)):
                return
            try:
                taken = self.server.send(partial(self._travelling, events))
            except ServerRefusesError as problem:
                if not problem.of_a_batch:
                    raise
                if not self._smaller(events, str(problem)):
                    raise
                continue
            self.most = min(MAX_EVENTS, self.most * 2)
            self._settle(events, taken)
            self._keep_clock()

    def _travelling(self, events: Sequence[Event], shift: timedelta) -> list[dict[str, Any]]:
        return [
            cloud_event(each, source=self.source, schemas=self.schemas, shift=shift)
            for each in events
        ]

    def _smaller(self, events: Sequence[Event], why: str) -> bool:
        """A batch that is none: halve it until the event that spoils it stands alone.

        False where there is nothing left to try: it is not the event that is wrong.
        """
        log.error("events %s: %s", numbers(events), why)
        if len(events) > 1:
            self.most = len(events) // 2
            return True
        return self.outbox.set_aside(events[0], why, self.clock.now())

    def _settle(self, events: Sequence[Event], taken: Taken) -> None:
        """Forget what is known there; what clashes there gets another number and stays."""
        clashing = [each for each in events if each.id in taken.clashing]
        for each in taken.refused:
            log.error("refused by the server: %s", each)
        with self.store.writing():
            if self.outbox.go_on_after(taken.last, clashing):
                log.error("this folder was put back from a copy; going on after %d", taken.last)
            known = [each for each in events if each.id not in taken.clashing]
            self.outbox.settle(known)
        if taken.next_poll:
            # As the server says, as much faster as everything is done.
            self.poll_every = min(max(taken.next_poll, 1.0), 600.0) * self.pace.poll / Pace().poll

    def _keep_clock(self) -> None:
        """What has to be known after a restart without a line."""
        applied = str(self.clock.applied.total_seconds())
        if applied != self.store.note(APPLIED, "0.0"):
            self.store.keep(APPLIED, applied)
