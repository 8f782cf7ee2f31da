"""A version that waits for a roast lot, and the bar that opens it."""

import time
from urllib.parse import urlsplit

from embedded.walkthrough.browser import BARISTA, HEAD, PASSWORD, Stage, email
from embedded.walkthrough.page import Page, Unexpected

SLOT = "4"
PATIENCE = 60.0  # seconds until a worker has placed one bar's slots


def publishes(stage: Stage) -> str:
    """To every bar, each from the moment on at which it opens the lot."""
    choosing = stage[HEAD].open(f"{stage.kept['version']}publish/").must(200)
    *_, oldest = choosing.soup.select("select[name=lot] option")
    lot, label = str(oldest["value"]), " ".join(oldest.text.split())
    form = choosing.form(having="where")
    plan = stage[HEAD].send(form, which="numbered", slots=SLOT, where="all", lot=lot)
    signing = plan.must(200, f"each site when it opens lot {label}").form(having="seen_digest")
    typed = {"email": email(HEAD)} if signing.has("email") else {}
    done = stage[HEAD].send(
        signing, reason="With the new roast.", password=PASSWORD, acknowledged=True, **typed
    )
    stage.kept["with a lot"] = done.must(200, "Scheduled", "Waits for lot", "0 of").path
    stage.kept["lot"] = label
    return f"every site waits for lot {label}"


def opens(stage: Stage) -> str:
    """The page says what that sets off; what the scanner types is what the label says."""
    lots = stage[BARISTA].open(f"{stage.kept['site']}lots/").must(200, "Waited for")
    page = stage[BARISTA].open(lots.link("Open a bag", to="/lot/$")).must(200, "Waited for")
    label = stage.kept["lot"]
    done = stage[BARISTA].send(page.form(having="code"), code=label)
    done.must(200, f"{label} is open now")
    if done.says("Waited for"):
        raise Unexpected("it is still waited for")
    return f"{label} is open"


def begins(stage: Stage) -> str:
    """At that bar, and at no other."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        page = stage[HEAD].open(f"{stage.kept['with a lot']}progress/").must(200)
        placed = _placed_where_opened(page, stage.kept["site"])
        if placed:
            page.must(200, "Waits for lot")
            return f"{placed} slots placed there, the other sites wait"
        time.sleep(0.3)
    raise Unexpected(f"nothing placed after {PATIENCE:.0f} s: {page.text[:80]}")


def _placed_where_opened(page: Page, site: str) -> str:
    """How many slots that bar has placed once it is done; empty before."""
    for row in page.soup.select("tbody tr"):
        link = row.select_one("a[href]")
        if link is None or urlsplit(str(link["href"])).path != site:
            continue
        count, _, total = str(row.select("td")[1].text).partition(" of ")
        return count if count == total and count != "0" else ""
    return ""
