"""A device at the bar with its service worker, as a test drives it."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from playwright.sync_api import BrowserContext, Error, Page

PATIENCE = 20  # seconds
READY = "navigator.serviceWorker && navigator.serviceWorker.controller !== null"
ASKED = """message => new Promise(async (resolve) => {
    const { active } = await navigator.serviceWorker.ready;
    const { port1, port2 } = new MessageChannel();
    port1.onmessage = (event) => resolve(event.data.result);
    active.postMessage(message, [port2]);
})"""
KEPT = """async () => {
    const cache = await caches.open("kept-pages");
    return (await cache.keys()).map((key) => new URL(key.url).pathname + new URL(key.url).search);
}"""


@dataclass
class Device:
    """One browser profile with a page in it."""

    context: BrowserContext
    page: Page

    @property
    def origin(self) -> str:
        """The server's address, for cookies of all its pages."""
        return str(self.page.evaluate("location.origin"))

    def ready(self) -> None:
        """Wait until the worker serves this page."""
        self.until(lambda: self.evaluate(READY))

    def evaluate(self, script: str, arg: object = None) -> Any:  # noqa: ANN401 - as above
        """Once more where a navigation of before was still to come."""
        try:
            return self.page.evaluate(script, arg)
        except Error as error:
            if "context was destroyed" not in str(error):
                raise
            self.page.wait_for_load_state()
            return self.page.evaluate(script, arg)

    def ask(self, **message: object) -> Any:  # noqa: ANN401 - whatever a script answers
        """Ask the worker what pages ask it."""
        return self.evaluate(ASKED, message)

    def entries(self) -> list[dict[str, Any]]:
        """What is in the queue, oldest first."""
        held: list[dict[str, Any]] = self.ask(ask="state")["entries"]
        return held

    def states(self) -> list[str]:
        """The states of what is in the queue."""
        return [str(each["state"]) for each in self.entries()]

    def kept(self) -> list[str]:
        """The addresses of the pages that are kept."""
        held: list[str] = self.evaluate(KEPT)
        return sorted(held)

    def keeps(self, address: str) -> None:
        """Wait until that page is kept."""
        self.until(lambda: address in self.kept())

    def settled(self) -> None:
        """Wait until nothing waits."""
        self.until(lambda: "waiting" not in self.states())

    def until(self, met: Callable[[], object]) -> None:
        """Ask until it is so: pages allow no script of Playwright's own to wait."""
        end = time.monotonic() + PATIENCE
        while not met():
            assert time.monotonic() < end, "not in time"
            self.page.wait_for_timeout(50)

    def drop(self) -> None:
        """The line is gone."""
        self.context.set_offline(True)

    def back(self) -> None:
        """The line is back; the browser tells its pages."""
        self.context.set_offline(False)
