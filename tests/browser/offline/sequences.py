"""Random days of a device at a bar: taps, drops, reloads, sign-outs; and what must come of them.

Every intention has a mark of its own, a number or a word, by which the server's rows are counted.
"""

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.contrib.sessions.models import Session
from django.urls import reverse
from playwright.sync_api import Dialog, Error

from people.persons.models import User
from recipes.requests.models import ChangeRequest
from stations.shots.models import CheckShot
from stations.slots.models import ReadBack
from tests.browser.conftest import sign_in
from tests.browser.offline.device import Device
from tests.browser.offline.faults import Faults
from tests.cast import Cast
from tests.stations.conftest import Bar, place

CLICK = "times => { for (let i = 0; i < times; i++) %s.click(); }"
BUTTON = "document.querySelector('main form:has([name=queued_as]) button[type=submit]')"
SIGN_OUT = "document.querySelector('[data-sign-out] button')?.click()"
FILL = "([name, value]) => { document.querySelector(`main [name=${name}]`).value = value; }"
CUP = {"beverage_mass": {"target": "36", "below": "2", "above": "2", "unit": "g"}}
STEPS = (
    "shot", "shot", "shot", "read", "read", "ask", "drop", "back", "fail", "lose", "slow",
    "reload", "sign_out", "expire", "other", "publish",
)  # fmt: skip


@dataclass
class Meant:
    """What was meant, by its mark, and what the device itself told about it."""

    exactly: set[str] = field(default_factory=set)
    perhaps: set[str] = field(default_factory=set)  # left before the browser sent it, or deleted
    refused: set[str] = field(default_factory=set)  # told to whoever was there


@dataclass
class Days:
    """One device, two people, many sequences on one database."""

    device: Device
    cast: Cast
    bar: Bar
    version: int
    address: str
    faults: Faults
    meant: Meant = field(default_factory=Meant)
    made: int = 0
    ends: Counter[str] = field(default_factory=Counter)  # how many intentions ended in which way

    def __post_init__(self) -> None:
        self.people = (self.cast.shop_lead, self.cast.head_roaster)
        self.device.page.on("dialog", self._answer)
        self.random = random.Random(0)
        self.person = self.people[0]
        self.line, self.sure = True, False
        self.log: list[str] = []  # steps, each with how much was meant before it

    def _answer(self, dialog: Dialog) -> None:
        if dialog.type == "confirm" and self.random.random() < 0.5:
            dialog.dismiss()
        else:
            self.sure = dialog.type == "confirm"
            dialog.accept()

    def run(self, seed: int, steps: int = 8) -> None:
        """One sequence; whatever it ends in, the line comes back and somebody signs in."""
        self.random, self.meant, self.log = random.Random(seed), Meant(), []
        self._begin(self.people[0])
        for _ in range(steps):
            name = self.random.choice(STEPS)
            self.log.append(f"{name} {self.made}")
            step: Callable[[], None] = getattr(self, f"_{name}")
            step()
        self._end(seed)
        self._check(seed)

    # Somebody.

    def _begin(self, person: User) -> None:
        self.person = person
        for _ in range(5):  # an answer of before may still take the new session's cookie away
            sign_in(self.device.context, person, self.address)
            self._go("/waiting/")
            if self.device.evaluate("Boolean(document.querySelector('#line'))"):
                break
        self.device.ready()

    def _may_go(self, held: list[tuple[str, str]]) -> None:
        """What is not sent may be deleted now."""
        for mark, state in held:
            if state == "waiting":
                self.meant.exactly.discard(mark)
                self.meant.perhaps.add(mark)

    def _held(self) -> list[tuple[str, str]]:
        return [(_mark(each["pairs"]), str(each["state"])) for each in self.entries()]

    def entries(self) -> list[dict[str, Any]]:
        """The queue, asked from a page of ours."""
        try:
            return self.device.entries()
        except Error:
            self.device.page.goto("/waiting/")
            return self.device.entries() if self._signed_in_page() else []

    def _signed_in_page(self) -> bool:
        return bool(self.device.evaluate("navigator.serviceWorker?.controller !== null"))

    def _other(self) -> None:
        """Somebody else signs in on this device; what waits is not theirs."""
        self._back()
        self._may_go(self._held())
        self.person = self.people[1 - self.people.index(self.person)]
        self._begin(self.person)

    def _expire(self) -> None:
        Session.objects.all().delete()

    def _sign_out(self) -> None:
        held, self.sure = self._held(), False  # before: a dialog lets nobody ask
        self.device.evaluate(SIGN_OUT)
        self.device.page.wait_for_timeout(400)
        if self.sure:
            self._may_go(held)

    # The line.

    def _drop(self) -> None:
        self.line = False
        self.device.drop()

    def _back(self) -> None:
        self.line = True
        self.device.back()

    def _fail(self) -> None:
        self.faults.before = self.random.choice((429, 500, 502, 503))

    def _lose(self) -> None:
        self.faults.after = True

    def _slow(self) -> None:
        self.faults.pause = self.random.choice((0.2, 0.2, 1.5))

    def _reload(self) -> None:
        self._go("/waiting/")

    def _publish(self) -> None:
        place(self.bar.slot, self.cast.head_roaster, cup=CUP)

    # The three things that are sent.

    def _shot(self) -> None:
        if not self._go(reverse("stations:shot_log", args=[self.bar.slot.pk])):
            return
        mark = f"{100 + self._next() / 10:.1f}"
        self._fill({"dose_mass": "18.0", "beverage_mass": mark, "shot_time": "27"})
        self._tap(mark)

    def _read(self) -> None:
        if not self._go(reverse("stations:read_back", args=[self.bar.slot.pk])):
            return
        mark = f"{200 + self._next() / 10:.1f}"
        self._fill({"water_volume": mark})
        self._tap(mark)

    def _ask(self) -> None:
        if not self._go(f"{reverse('recipes:request_new')}?version={self.version}"):
            return
        mark = f"Reason {self._next()}"
        self._fill({"brew_temperature": "94.5", "reason": mark})
        self._tap(mark)

    def _next(self) -> int:
        self.made += 1
        return self.made

    def _go(self, address: str) -> bool:
        """Whether that page, or its kept copy, is there with its form."""
        try:
            self.device.page.goto(address)
        except Error:
            return False
        return bool(self.device.evaluate(f"Boolean({BUTTON})"))

    def _fill(self, values: dict[str, str]) -> None:
        for name, value in values.items():
            self.device.evaluate(FILL, [name, value])

    def _tap(self, mark: str) -> None:
        times, hasty = self.random.choice((1, 1, 2, 3)), self.random.random() < 0.2
        if hasty:
            self.meant.perhaps.add(mark)
            self.device.page.evaluate(CLICK % BUTTON, times)
            self.device.page.wait_for_timeout(self.random.choice((0, 30, 100)))
            self._go("/waiting/")
        else:
            self.meant.exactly.add(mark)
            with self.device.page.expect_navigation(timeout=20_000):
                self.device.page.evaluate(CLICK % BUTTON, times)
            self.log.append(f"{mark} led to {self.device.page.url} {self.device.page.title()}")
        for held, state in self._held():
            if state == "refused":
                self.meant.refused.add(held)
            if held == mark and hasty:  # the browser had sent it: then it counts
                self.meant.exactly.add(mark)
                self.meant.perhaps.discard(mark)

    # The end.

    def _end(self, seed: int) -> None:
        self.faults.clear()
        self._back()
        self._begin(self.person)
        for _ in range(60):
            self.device.ask(ask="send", eager=True)
            if "waiting" not in self.device.states():
                break
            self.device.page.wait_for_timeout(100)
            self._begin(self.person)
        self.meant.refused |= {mark for mark, state in self._held() if state == "refused"}
        left = [each for each in self.entries() if each["state"] == "waiting"]
        assert not left, f"seed {seed}: {left}; {self.log}"

    def _check(self, seed: int) -> None:
        """Each once; none that was refused; none that nobody meant."""
        there = _counted()
        wrong = [f"{mark}: {count} times" for mark, count in there.items() if count > 1]
        # One that was left or deleted knowingly may have been told as refused to somebody else.
        for mark in (self.meant.exactly | self.meant.refused) - self.meant.perhaps:
            if there[mark] != (0 if mark in self.meant.refused else 1):
                wrong.append(f"{mark}: {there[mark]} times, refused: {mark in self.meant.refused}")
        self.ends.update(
            {
                "once": len(self.meant.exactly - self.meant.refused),
                "refused": len(self.meant.refused),
                "deleted, but sent before": sum(there[mark] for mark in self.meant.perhaps),
                "deleted or never sent": sum(not there[mark] for mark in self.meant.perhaps),
            }
        )
        assert not wrong, f"seed {seed}: {'; '.join(wrong)}; queue {self._held()}; {self.log}"


def _mark(pairs: list[list[str]]) -> str:
    given = dict(pairs)
    # The form of a request has boxes of both masses as well.
    return given.get("reason") or given.get("beverage_mass") or given.get("water_volume", "")


def _counted() -> Counter[str]:
    shots = CheckShot.objects.values_list("beverage_mass", flat=True)
    reads = ReadBack.objects.values_list("found__water_volume", flat=True)
    asked = ChangeRequest.objects.values_list("reason", flat=True)
    return Counter([*(f"{each:.1f}" for each in shots), *map(str, reads), *asked])
