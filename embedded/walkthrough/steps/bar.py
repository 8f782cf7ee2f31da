"""At the bar: keying in, reading back, and finding a slot locked."""

import re

from embedded.walkthrough.browser import BARISTA, LEAD, OTHER_LEAD, Stage
from embedded.walkthrough.page import Page, Unexpected

SITE = "Harbour"
CARRIED = ("csrfmiddlewaretoken", "seen_placement", "sent_once", "queued_as")  # nobody types them
HANDS_OFF = "A head roaster changes it, with a publication or a deviation permit."


def sees_what_to_key(stage: Stage) -> str:
    """The list that is worked through machine by machine."""
    site = stage[LEAD].open("/sites/").must(200).link(SITE, to=r"^/sites/\d+/$")
    stage.kept["site"] = site
    page = stage[LEAD].open(stage[LEAD].open(site).must(200).link("What to key in")).must(200)
    slots = _waiting(page)
    if len(slots) < 3 or f"version {stage.kept['number']}" not in page.text:
        raise Unexpected(f"only {len(slots)} slots wait here: {page.heading()}")
    stage.kept["to key"] = page.path
    for number, slot in enumerate(slots, start=1):
        stage.kept[f"slot {number}"] = slot
    return f"{len(slots)} slots to load, each with its own settings"


def _waiting(page: Page) -> list[str]:
    """The addresses of the slots that stand on the list, in its order."""
    return [
        f"/slots/{head['id']}/".replace("slot-", "") for head in page.soup.select("h3[id^=slot-]")
    ]


def _shown(page: Page) -> tuple[list[str], list[str]]:
    """Codes of the numbers to type, and what each should be, in the page's order."""
    form = page.form(having="seen_placement")
    typed = [code for code in form.written() if code not in CARRIED]
    return typed, re.findall(r"Should be ([\d.]+) ", page.text)


def _reads(stage: Stage, slot: str, **differing: str) -> Page:
    page = stage[LEAD].open(f"{slot}read-back/").must(200)
    codes, should = _shown(page)
    if not codes or len(codes) != len(should):
        raise Unexpected(f"{page.path} asks for {codes} and shows {should}")
    found = {**dict(zip(codes, should, strict=True)), "ends_by": "volume", **differing}
    return stage[LEAD].send(page.form(having="seen_placement"), **found)


def reads_back(stage: Stage) -> str:
    """Keyed in, and typed as the machine shows it."""
    page = _reads(stage, stage.kept["slot 1"]).must(200, "Matches")
    if "Differs" in page.text:
        raise Unexpected("what was keyed in as shown differs")
    if stage.kept["slot 1"] in _waiting(stage[LEAD].open(stage.kept["to key"])):
        raise Unexpected("it still stands on the list")
    return "matches; off the list"


def finds_another(stage: Stage) -> str:
    """The second slot holds a shorter shot than it should."""
    page = _reads(stage, stage.kept["slot 2"], water_volume="251").must(200, "Differs")
    should = page.find(r"Water volume (\d+) pulses 251 pulses Differs")
    stage[LEAD].open(stage.kept["slot 2"]).must(200, "Differs")
    stage[LEAD].open("/").must(200, "Differs")
    return f"differs: water volume {should} pulses, found 251"


def sets_by_hand(stage: Stage) -> str:
    """A locked slot: the page says so, and posting past the page is refused and recorded."""
    slot = stage.kept["slot 1"]
    stage[LEAD].open(f"{slot}set/").must(409, "This slot is locked", HANDS_OFF)
    page = stage[LEAD].force(f"{slot}set/", water_volume="251").must(409, "locked", HANDS_OFF)
    how = page.find(r"Ask for a change from the slot's page")
    stage[LEAD].open(f"{slot}read-back/").must(200, "Should be")
    return f"refused: {HANDS_OFF} {how}"


def looks_up(stage: Stage) -> str:
    """The barista scans the code that hangs at the station."""
    slot = stage[BARISTA].open(stage.kept["slot 1"]).must(200)
    station = stage[BARISTA].open(slot.link(to=r"^/stations/\d+/$"))
    page = stage[BARISTA].open(station.link("Bar page", to="^/at/")).must(200, "Slot 1", "°C")
    if page.leads("Read back") or any("read-back" in form.action for form in page.forms):
        raise Unexpected("a barista is offered a read-back")
    return f"{page.path}: {page.find('Water volume [0-9]+ pulses Brew temperature [0-9.]+ °C')}"


def may_not_publish(stage: Stage) -> str:
    """Not a barista's to decide."""
    page = stage[BARISTA].open(f"{stage.kept['version']}publish/").must(403)
    return f"refused: {page.find('Who may [^.]*')}"


def is_elsewhere(stage: Stage) -> str:
    """Another bar's shop lead: nothing there, not even a no."""
    for address in (stage.kept["slot 1"], f"{stage.kept['slot 1']}set/", stage.kept["site"]):
        stage[OTHER_LEAD].open(address).must(404)
    stage[OTHER_LEAD].force(f"{stage.kept['slot 1']}set/", water_volume="251").must(404)
    return "404 for the slot, for setting it and for the site"
