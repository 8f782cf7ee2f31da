"""From an approved version to the next one: drafted, submitted, approved by somebody else."""

from embedded.walkthrough.browser import HEAD, PASSWORD, SECOND, Stage, email
from embedded.walkthrough.page import Page, Unexpected

RECIPE = "Hill lot"
NEW = "93.0"  # °C
NO_DIGEST = "0" * 64  # for somebody who never saw the page


def begins_draft(stage: Stage) -> str:
    """Open the recipe and begin a draft from the version that is approved."""
    head, kept = stage[HEAD], stage.kept
    kept["recipe"] = head.open("/recipes/").must(200).link(RECIPE, to=r"^/recipes/\d+/$")
    page = head.open(kept["recipe"]).must(200)
    kept["approved before"] = page.find(r"Approved Version (\d+)")
    draft = head.send(page.form(to="/draft/$")).must(200, "Draft")
    kept["version"] = draft.path.removesuffix("edit/")
    kept["number"] = draft.find(r"version (\d+)")
    return f"version {kept['number']} is a draft, from {kept['approved before']}"


def mistypes(stage: Stage) -> str:
    """A slip of the finger."""
    page = stage[HEAD].open(f"{stage.kept['version']}edit/").must(200)
    told = stage[HEAD].send(page.form(having="brew_temperature"), brew_temperature="930")
    return told.must(400).find(r"Brew temperature[^.]{0,40}: (“?930.{0,90}?)\.")


def edits(stage: Stage) -> str:
    """The temperature that tasted right."""
    form = stage[HEAD].open(f"{stage.kept['version']}edit/").form(having="brew_temperature")
    old = stage.kept["old"] = form.value("brew_temperature")
    if old in ("", NEW):
        raise Unexpected(f"the draft begins at “{old}” °C")
    page = stage[HEAD].send(form, brew_temperature=NEW, note="Fuller at 93; three tastings.")
    page.must(200, "was saved", f"{NEW} °C")
    return f"saved: brew temperature {old} → {NEW} °C"


def submits(stage: Stage) -> str:
    """From here on its content is fixed."""
    page = stage[HEAD].open(stage.kept["version"]).must(200)
    stage[HEAD].send(page.form(to="/submit/$")).must(200, "In review")
    return f"version {stage.kept['number']} is in review"


def refused_own(stage: Stage, who: str = HEAD) -> str:
    """The page offers no signature to its author; posting past it does not help either."""
    address = f"{stage.kept['version']}approve/"
    page = stage[who].open(address).must(200, "somebody else signs it")
    if any(form.has("password") for form in page.forms):
        raise Unexpected("the page offers the author a signature")
    signed = {"seen_digest": NO_DIGEST, "email": email(who), "password": PASSWORD}
    return _refusal(stage[who].force(address, **signed).must(409))


def _refusal(page: Page) -> str:
    return f"refused: {page.find('Nobody approves what they drafted, last edited or requested')}"


def approves_with_wrong_password(stage: Stage) -> str:
    """Anybody could sit down at a browser that was left open."""
    form = stage[SECOND].open(f"{stage.kept['version']}approve/").must(200).form(having="password")
    guess = "not my password"
    page = stage[SECOND].send(form, email=email(SECOND), password=guess).must(400, "In review")
    return "refused: " + page.find(r"What was typed can.{0,60}?the password you sign in with")


def approves(stage: Stage) -> str:
    """Read what changed, and sign it."""
    page = stage[SECOND].open(f"{stage.kept['version']}approve/").must(200, stage.kept["old"], NEW)
    typed = {"password": PASSWORD}
    if page.form(having="password").has("email"):
        typed["email"] = email(SECOND)
    done = stage[SECOND].send(page.form(having="password"), **typed)
    done.must(200, "is approved", "Second roaster")
    recipe = stage[SECOND].open(stage.kept["recipe"])
    recipe.must(200, f"Approved Version {stage.kept['number']}", "Superseded")
    return f"version {stage.kept['number']} is approved; the one before is superseded"
