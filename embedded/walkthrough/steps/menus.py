"""Several drinks as one: a menu, a bar that begins to follow it, and one signature."""

from datetime import UTC, datetime, timedelta

from embedded.walkthrough.browser import HEAD, PASSWORD, Stage, email
from embedded.walkthrough.page import Unexpected

MENU, SITE = "City bars", "Summit"


def departs(stage: Stage) -> str:
    """What was published to slot 1 is not what the menu says there."""
    page = stage[HEAD].open("/menus/").must(200, MENU, "Departs")
    stage.kept["menu"] = page.link(MENU, to=r"^/menus/\d+/$")
    found = stage[HEAD].open(stage.kept["menu"]).must(200, "Departs")
    return found.find(r"Departs \d+ slots?")


def follows(stage: Stage) -> str:
    """A new bar like the others: nothing is placed by that."""
    sites = stage[HEAD].open("/sites/").must(200)
    site = stage[HEAD].open(sites.link(SITE, to=r"^/sites/\d+/$")).must(200, "Follows no menu")
    form = stage[HEAD].open(f"{site.path}menu/").must(200).form(having="instead_of")
    menu = stage.kept["menu"].rstrip("/").rpartition("/")[2]
    stage[HEAD].send(form, menu=menu).must(200, MENU, "not yet")
    stage.kept["new bar"] = site.path.strip("/").rpartition("/")[2]
    return f"{SITE} follows {MENU}"


def publishes(stage: Stage) -> str:
    """All its drinks at one moment, under one signature."""
    day = (datetime.now(UTC) + timedelta(days=2)).date().isoformat()
    menu = stage[HEAD].open(stage.kept["menu"]).must(200)
    form = stage[HEAD].open(menu.link(to=r"/publish/$")).must(200).form(having="sites")
    plan = stage[HEAD].send(form, sites=[stage.kept["new bar"]], date=day, time="06:00")
    plan.must(200, "Plan, not signed")
    placed = plan.find(r"(\d+) to place")
    if placed == "0":
        raise Unexpected("nothing to place")
    signing = plan.form(having="seen_digest")
    typed: dict[str, str | bool] = {"acknowledged": True} if signing.has("acknowledged") else {}
    if signing.has("email"):
        typed["email"] = email(HEAD)
    sent = stage[HEAD].send(signing, reason="Like the others.", password=PASSWORD, **typed)
    sent.must(200, "Signed by", f"Menu {MENU}")
    return f"{placed} slots of several drinks wait for 06:00"
