"""What a browser test looks for on any page: accessible, fitting, touchable, silent."""

from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

from playwright.sync_api import ConsoleMessage, Error, Page

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
WIDTHS = {"desk": 1440, "tablet": 1024, "phone": 390}  # CSS pixels
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
# The browser's own remark on any answer of 4xx or 5xx; tests of refusals provoke it on purpose.
EXPECTED = "Failed to load resource: the server responded with a status of 4"


def axe(page: Page) -> None:
    """No rule of axe-core is broken, from WCAG 2.2 AA to its best practices."""
    page.evaluate(AXE)
    options = {
        "runOnly": {"type": "tag", "values": RULES},
        "resultTypes": ["violations"],
        "preload": False,  # our style sheets need no second fetching
    }
    found = page.evaluate("options => axe.run(options)", options)["violations"]
    assert not found, "\n".join(_told(violation) for violation in found)


def _told(violation: dict[str, Any]) -> str:
    places = [
        f"    {node['html'][:160]}\n    {node['failureSummary']}" for node in violation["nodes"]
    ]
    return "\n".join([f"{violation['id']}: {violation['help']}", *places[:5]])


def fits(page: Page) -> None:
    """Nothing makes the page scroll sideways."""
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0, f"{page.url} is {wide} px wider than the screen"


SMALL_TARGETS = """least => [...document.querySelectorAll(
    'a.button, button, select, textarea, summary, .worklist a, .nav a, .nav-folded a,'
    + 'input:not([type=hidden], [type=checkbox], [type=radio]), .choices label, .tick label')]
  .map(element => [element, element.getBoundingClientRect()])
  .filter(([, box]) => box.width > 0 && box.height > 0 && box.height < least - 0.5)
  .map(([element, box]) => `${element.outerHTML.slice(0, 120)} is ${box.height} px high`)"""


def touchable(page: Page, least: int = 44) -> None:
    """Everything meant for a finger is at least that high, in CSS pixels."""
    small = page.evaluate(SMALL_TARGETS, least)
    assert not small, "\n".join(small)


@dataclass
class Complaints:
    """What a page wrote to its console, and the exceptions its scripts raised."""

    said: list[str] = field(default_factory=list)

    def listen(self, page: Page) -> None:
        """Collect from this page on."""
        page.on("console", self._console)
        page.on("pageerror", self._error)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"} and not message.text.startswith(EXPECTED):
            self.said.append(f"{message.type}: {message.text}")

    def _error(self, error: Error) -> None:
        self.said.append(f"exception: {error}")
