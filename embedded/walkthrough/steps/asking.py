"""A change request from the bar, and a permit while the machine waits for the technician."""

from datetime import UTC, datetime, timedelta

from embedded.walkthrough.browser import HEAD, LEAD, PASSWORD, SECOND, Stage, email
from embedded.walkthrough.page import Unexpected
from embedded.walkthrough.steps import recipe

WANTED, COOLER = "92.5", "91.0"  # °C
EVIDENCE = "Eight shots on two mornings, 18.0 g in, 40 g out in 30 to 32 s; five found bitter."


def asks(stage: Stage) -> str:
    """From the slot's page, with the shots that speak for it."""
    slot = stage[LEAD].open(stage.kept["slot 1"]).must(200)
    page = stage[LEAD].open(slot.link("Ask for a change")).must(200)
    page.must(200, f"For version {stage.kept['number']}")
    form = page.form(having="brew_temperature")
    why = {"reason": "Bitter at the end.", "evidence": EVIDENCE}
    done = stage[LEAD].send(form, brew_temperature=WANTED, **why)
    done.must(200, "Open", EVIDENCE, recipe.NEW, WANTED)
    stage.kept["request"] = done.path
    return f"{done.find('[Rr]equest [0-9]+')}: {recipe.NEW} → {WANTED} °C, with evidence"


def accepts(stage: Stage) -> str:
    """The head roaster makes a draft of it."""
    form = stage[HEAD].open(stage.kept["request"]).must(200, EVIDENCE).form(having="decision")
    draft = stage[HEAD].send(form, decision="accept", reason="Agreed.").must(200, "Draft", WANTED)
    stage.kept["version"] = draft.path
    stage.kept["number"] = draft.find(r"version (\d+)")
    stage[LEAD].open(stage.kept["request"]).must(200, "Accepted")
    return f"version {stage.kept['number']} is a draft with {WANTED} °C, asked for in the request"


def is_barred(stage: Stage) -> str:
    """Who accepted it drafted it; who asked for it has no say in approving."""
    recipe.submits(stage)
    told = recipe.refused_own(stage)
    signed = {"seen_digest": recipe.NO_DIGEST, "email": email(LEAD), "password": PASSWORD}
    stage[LEAD].force(f"{stage.kept['version']}approve/", **signed).must(403)
    return f"roaster {told}; shop lead: 403"


def is_approved_by_another(stage: Stage) -> str:
    """The second roaster was not part of it."""
    page = stage[SECOND].open(f"{stage.kept['version']}approve/").must(200, WANTED)
    done = stage[SECOND].send(page.form(having="password"), password=PASSWORD)
    done.must(200, "is approved")
    return f"version {stage.kept['number']} is approved, to be published when it suits"


def _permit_plan(stage: Stage) -> tuple[str, dict[str, str]]:
    slot = stage.kept["slot 3"]
    day = (datetime.now(UTC) + timedelta(days=2)).date().isoformat()
    return slot, {"brew_temperature": COOLER, "date": day, "time": "18:00"}


def is_permitted(stage: Stage) -> str:
    """One slot, one parameter, two days."""
    slot, chosen = _permit_plan(stage)
    page = stage[HEAD].open(slot).must(200)
    form = stage[HEAD].open(page.link("Grant a deviation permit")).must(200).form(having="slots")
    plan = stage[HEAD].send(form, **chosen).must(200, "not signed")
    typed = {"reason": "Runs hot until the gasket is changed.", "password": PASSWORD}
    done = stage[HEAD].send(plan.form(having="seen_digest"), **typed).must(200, "In force")
    stage.kept["permit"], stage.kept["permit plan"] = done.path, plan.path
    shown = stage[LEAD].open(slot).must(200, "On permit")
    return f"in force; the slot is on permit: {shown.find('Brew temperature [0-9.]+ °C')}"


def is_not_permitted_twice(stage: Stage) -> str:
    """The same slot again."""
    page = stage[HEAD].open(stage.kept["permit plan"]).must(200)
    if any(form.has("password") for form in page.forms):
        raise Unexpected("a second permit is offered for signature")
    return "refused: " + page.find(r"permit \d+ is in force at this slot already")


def falls_back(stage: Stage) -> str:
    """The gasket is changed: the permit ends before its time."""
    page = stage[HEAD].open(stage.kept["permit"]).must(200)
    form = stage[HEAD].open(page.link("End it now")).must(200).form(having="reason")
    stage[HEAD].send(form, reason="Gasket changed.").must(200, "Ended")
    slot = stage[LEAD].open(stage.kept["slot 3"]).must(200, "To load")
    if slot.has(r"\bon permit\b") or "permit" in slot.find(r"Should hold (.{60})"):
        raise Unexpected("the slot is still on permit")
    return "ended; the slot is back to what was published, to be loaded again"
