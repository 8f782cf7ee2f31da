"""To every slot at every site: the plan, the signature, the worker, and a change of mind."""

import re
import time
from datetime import UTC, datetime, timedelta
from urllib.parse import urlencode

from embedded.walkthrough.browser import HEAD, PASSWORD, Stage, email
from embedded.walkthrough.page import Page, Unexpected

PATIENCE = 120.0  # seconds until the workers have placed a few dozen slots
SLOT, LATER_SLOT = "1", "4"


def _where(stage: Stage, **chosen: str) -> Page:
    """Choose slots and moment on the version's page; the plan.

    Without any: those where the older version is in force, which is what the page proposes.
    """
    page = stage[HEAD].open(f"{stage.kept['version']}publish/").must(200, "Where the recipe is in")
    which = {"which": "numbered", "where": "all"} if "slots" in chosen else {}
    return stage[HEAD].send(page.form(having="where"), **which, **chosen).must(200)


def _sign(stage: Stage, plan: Page, reason: str, **typed: str | bool) -> Page:
    form = plan.form(having="seen_digest")
    if form.has("email"):
        typed["email"] = email(HEAD)
    return stage[HEAD].send(form, reason=reason, password=PASSWORD, **typed)


def plans(stage: Stage) -> str:
    """Nothing is written yet: what each slot would be set to, and which can't be."""
    proposed = _where(stage).must(200, "wherever", "all sites", "Replaces")
    already = proposed.find(r"(\d+) to place")
    plan = _where(stage, slots=SLOT)
    plan.must(
        200,
        "all sites",
        "Way out",
        "Another recipe",
        "is not something this machine can set",
        "Ends permit",
    )
    counts = [plan.find(rf"(\d+) {word}") for word in ("to place", "refused")]
    stage.kept["to place"], stage.kept["refused"] = counts
    if "0" in counts:
        raise Unexpected(f"{counts[0]} to place, {counts[1]} refused")
    return (
        f"{already} slots hold an older version; at slot {SLOT} {counts[0]} to place,"
        f" {counts[1]} refused: no pressure stages there"
    )


def signs_unread(stage: Stage) -> str:
    """The bar in the mountains: 93 °C is close to boiling there, which somebody must accept."""
    plan = _where(stage, slots=SLOT).must(200, "boiling", "accept them by name")
    told = _sign(stage, plan, "New crop is rested.").must(400, "accepts it in your name")
    why = told.find(r"\w+: brew temperature [\d.]+ °C is [\d.]+ °C (?:above|below) boiling \(.*?\)")
    return f"refused: {why}"


def signs(stage: Stage) -> str:
    """From here on the slots' future is settled."""
    done = _sign(stage, _where(stage, slots=SLOT), "New crop is rested.", acknowledged=True)
    stage.kept["publication"] = done.must(200, "Signed by", "New crop is rested.").path
    return f"publication {_number(done)} is signed"


def _number(page: Page) -> str:
    return page.path.rstrip("/").rpartition("/")[2]


def waits(stage: Stage) -> str:
    """Look at the progress until the workers have been everywhere."""
    address, until = f"{stage.kept['publication']}progress/", time.monotonic() + PATIENCE
    wanted = stage.kept["to place"]
    while time.monotonic() < until:
        page = stage[HEAD].open(address).must(200)
        if page.says("Everything is placed"):
            page.must(200, f"{wanted} of {wanted} slots placed", "To load at the bars")
            return f"{wanted} of {wanted} slots placed at 5 sites, none loaded yet"
        time.sleep(0.3)
    raise Unexpected(f"not complete after {PATIENCE:.0f} s: {page.text[:80]}")


def schedules(stage: Stage) -> str:
    """The day after tomorrow at six, by every site's own clock."""
    day = (datetime.now(UTC) + timedelta(days=2)).date().isoformat()
    stage.kept["day"] = day
    plan = _where(stage, slots=LATER_SLOT, date=day, time="06:00")
    zones = set(re.findall(r"06:00 (\w+)", plan.text))
    if len(zones) < 3:
        raise Unexpected(f"the plan names the time zones {zones}")
    done = _sign(stage, plan, "After the tasting.", acknowledged=True)
    stage.kept["later"] = done.must(200, "Scheduled", "0 of").path
    return f"publication {_number(done)} waits for 06:00 in {', '.join(sorted(zones))}"


def clashes(stage: Stage) -> str:
    """The same slots again, by page and past it."""
    plan = _where(stage, slots=LATER_SLOT).must(200, "Nothing in this plan can be placed")
    query = urlencode({"where": "all", "slots": LATER_SLOT})
    typed = {"seen_digest": "0" * 64, "reason": "Mine first", "password": PASSWORD}
    address = f"{stage.kept['version']}publish/plan/?{query}"
    stage[HEAD].force(address, acknowledged="on", **typed).must(409, "plan has moved")
    return "refused: " + plan.find(r"publication \d+ already waits for this slot")


def stops(stage: Stage) -> str:
    """A grinder broke."""
    return _decided(stage, "stop", "Stopped")


def resumes(stage: Stage) -> str:
    """It is mended."""
    return _decided(stage, "resume", "Scheduled")


def cancels_a_site(stage: Stage) -> str:
    """A grinder broke at one bar alone: the others go on."""
    page = stage[HEAD].open(stage.kept["later"]).must(200, "Scheduled")
    link = page.link("Cancel here", to="/at/")
    form = stage[HEAD].open(link).must(200, "Other sites go on").form(having="reason")
    stage[HEAD].send(form, reason="").must(400)
    done = stage[HEAD].send(form, reason="Its grinder broke.")
    done.must(200, "Scheduled", "Its grinder broke.", "Resumed")
    return done.find(r"Cancelled\s+at \w+")


def cancels(stage: Stage) -> str:
    """Not after all: stop it, and cancel the rest."""
    _decided(stage, "stop", "Stopped")
    told = _decided(stage, "cancel", "Cancelled")
    free = _where(stage, slots=LATER_SLOT).find(r"([1-9]\d*) to place")
    return f"{told}; {free} slots are free again"


def stops_the_cancelled(stage: Stage) -> str:
    """What is over can't be stopped."""
    page = (
        stage[HEAD].force(f"{stage.kept['later']}stop/", reason="Too late", revision="1").must(409)
    )
    return "refused: " + page.find(r"This publication is cancelled; only one that is under way")


def _decided(stage: Stage, verb: str, state: str) -> str:
    page = stage[HEAD].open(stage.kept["later"]).must(200)
    form = stage[HEAD].open(page.link(to=f"/{verb}/$")).must(200).form(having="reason")
    stage[HEAD].send(form, reason="").must(400)
    done = stage[HEAD].send(form, reason="The grinder.").must(200, state)
    return f"publication {_number(done)}: {state.lower()}"
