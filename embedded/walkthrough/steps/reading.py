"""Months later: the owner asks who changed what, when, why and on whose approval."""

import re
import time
from urllib.parse import urlencode

from embedded.walkthrough.browser import BARISTA, OWNER, Stage
from embedded.walkthrough.page import Page, Unexpected
from embedded.walkthrough.steps.recipe import NEW

SEEN = r"The first (\S+) entries were seen by 1 of 1 witnesses"
PATIENCE = 90.0  # seconds for sealing and a witness, also on a busy machine


def _filtered(stage: Stage, **chosen: str) -> Page:
    """The history, filtered by its own form: a field by its value or by the choice's words."""
    form = stage[OWNER].open("/history/").must(200).form(having="parameter")
    return stage[OWNER].send(form, **chosen).must(200)


def _entries(page: Page) -> list[str]:
    return page.leads(to=r"^/history/\d+/$")


def _open(stage: Stage, page: Page, *sentences: str) -> Page:
    """The newest listed entry whose own page says all that."""
    for address in _entries(page)[:40]:
        entry = stage[OWNER].open(address).must(200)
        if all(entry.says(sentence) for sentence in sentences):
            return entry
    raise Unexpected(f"no entry of {page.path} says {', '.join(sentences)}")


def filters(stage: Stage) -> str:
    """One parameter, over all recipes."""
    page = _filtered(stage, parameter="brew_temperature")
    changes = re.findall(r"Target: ([\d.]+) °C → ([\d.]+) °C", page.text)
    old = stage.kept["old"]
    if (old, NEW) not in changes:
        raise Unexpected(f"the history of brew temperature shows only {changes}")
    stage.kept["filtered"] = page.path
    return f"{len(_entries(page))} newest entries; among them {old} °C → {NEW} °C"


def reads_the_change(stage: Stage) -> str:
    """Old, new, who, when, through which channel."""
    page, old = stage[OWNER].open(stage.kept["filtered"]), stage.kept["old"]
    entry = _open(stage, page, f"{old} °C", f"{NEW} °C", "Edited draft")
    entry.must(200, "Who Head roaster", "Channel page", "Parameter Brew temperature")
    return f"{entry.path}: {old} °C before, {NEW} °C after; Head roaster, by page"


def reads_the_approval(stage: Stage) -> str:
    """On whose signature."""
    page = _filtered(stage, action="version.approved")
    entry = _open(stage, page, "Signed by Second roaster", "approved")
    digest = entry.find(r"Digest of what was seen ([0-9a-f]{64})")
    return f"{entry.path}: signed by Second roaster over {digest[:12]}…"


def reads_the_placing(stage: Stage) -> str:
    """Why a slot holds what it holds: the publication's reason, under its signature."""
    page = _filtered(stage, action="publication.run")
    reason, signed = "Reason: New crop is rested.", "Signed by Head roaster"
    entry = _open(stage, page, reason, signed, "in force", "Channel task")
    return f"{entry.path}: {reason} {signed}, meaning: published; placed by a worker"


def reads_refusals(stage: Stage) -> str:
    """Attempts count too."""
    wanted = {
        "slot.set_by_hand": "This slot is locked",
        "version.approved": "Nobody approves what they drafted",
        "publication.signed": "The plan has moved",
        "page.refused": "Barista",
    }
    for action, sentence in wanted.items():
        _open(stage, _filtered(stage, action=action), sentence, "Refused")
    return "each is there: setting by hand, own approval, double publication, barista's page"


def reads_the_witness(stage: Stage) -> str:
    """What an independent party saw of it, and when: it is asked every few seconds."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        page = stage[OWNER].open("/history/ledger/").must(200, "Witnesses")
        if page.has(SEEN):
            page.must(200, "Cosigns")
            return f"the first {page.find(SEEN)} entries, cosigned by a witness of its own"
        time.sleep(0.3)
    raise Unexpected(f"no witness saw any of it within {PATIENCE:.0f} s")


def is_for_owners(stage: Stage) -> str:
    """History is not for everybody."""
    stage[BARISTA].open(f"/history/?{urlencode({'parameter': 'brew_temperature'})}").must(403)
    return "403"
