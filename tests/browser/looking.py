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
# And what it says without a line, or where Playwright keeps the service worker away.
AWAY = "Failed to load resource: the server responded with a status of 503 (Service Unavailable)"
EXPECTED = (
    "Failed to load resource: the server responded with a status of 4",
    "Failed to load resource: net::ERR_INTERNET_DISCONNECTED",
    "Failed to load resource: the server responded with a status of 503 (No line)",
    "Service Worker registration blocked by Playwright",
)


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
    assert wide <= 0, f"{wide} px wider than the screen: {page.evaluate(BEYOND)}"


BEYOND = """[...document.querySelectorAll('main *')]
  .filter(element => element.getBoundingClientRect().right > innerWidth + 1)
  .slice(0, 3).map(element => element.outerHTML.slice(0, 120))"""


# CSS pixels: the smallest phone in use, a tablet held upright, and a desk's screen at 200 %
NARROW = (360, 820, 720)
HEAD = 110  # CSS pixels that the head and the way back may take of a phone


def fits_narrow(page: Page) -> None:
    """As narrow as pages have to be it fits too, and at 200 % it is as accessible."""
    whole = page.viewport_size
    assert whole is not None
    try:
        for width in NARROW:
            page.set_viewport_size({"width": width, "height": whole["height"]})
            fits(page)
            if width == NARROW[0]:
                _begins_high(page)
        axe(page)
    finally:
        page.set_viewport_size(whole)


def _begins_high(page: Page) -> None:
    boxes = [part.bounding_box() for part in page.locator(".site-head, .crumbs").all()]
    ends = max(box["y"] + box["height"] for box in boxes if box)
    assert ends <= HEAD, f"head and way back take {ends:.0f} px of a phone"


def dark(page: Page) -> None:
    """In the dark it is as accessible."""
    page.emulate_media(color_scheme="dark")
    try:
        axe(page)
    finally:
        page.emulate_media(color_scheme="light")


# Words within a picture; where two overlap by more than a hair, neither can be read.
BAD_WORDS = """() => [...document.querySelectorAll('.drawing svg')].flatMap(drawn => {
  const frame = drawn.getBoundingClientRect()
  const words = [...drawn.querySelectorAll('text')]
    .filter(word => word.textContent.trim() && Number(getComputedStyle(word).opacity) > 0)
    .map(word => [word.textContent, word.getBoundingClientRect()])
    .filter(([, box]) => box.width > 0)
  const over = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 4
  const outside = words.filter(([, box]) => box.left < frame.left - 1 || box.right > frame.right + 1
    || box.top < frame.top - 1 || box.bottom > frame.bottom + 1)
  const twice = words.flatMap(([one, a], at) =>
    words.slice(at + 1).filter(([, b]) => over(a, b)).map(([other]) => `${one} on ${other}`))
  return [...outside.map(([word]) => `${word} sticks out`), ...twice]
})"""


def legible(page: Page) -> None:
    """Every word of a chart is inside it and on no other."""
    bad = page.evaluate(BAD_WORDS)
    assert not bad, "\n".join(bad)


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
    expected: tuple[str, ...] = EXPECTED

    def listen(self, page: Page) -> None:
        """Collect from this page on."""
        page.on("console", self._console)
        page.on("pageerror", self._error)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"} and not message.text.startswith(self.expected):
            self.said.append(f"{message.type}: {message.text}")

    def _error(self, error: Error) -> None:
        self.said.append(f"exception: {error}")
