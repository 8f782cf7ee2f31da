"""A draft that began from an older version than the approved one: what it undoes, and moving it."""

from collections.abc import Mapping

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Stale
from audit.revision import compare_and_set, must_be_at
from people.persons.models import User
from people.persons.verbs import Verb
from recipes.formula.formula import Formula, write_rows
from recipes.formula.sides import Sides, choice_problems, sides_of
from recipes.versions import history
from recipes.versions.deciding import must_be
from recipes.versions.drafts import lock_recipe, lock_version, subject_of
from recipes.versions.models import Version


def newer_than_base(draft: Version) -> Version | None:
    """The approved version, where a draft or a version in review began from another one."""
    if draft.based_on_id is None or draft.signature_id or draft.state == Version.State.WITHDRAWN:
        return None
    approved = Version.objects.approved().with_formula().filter(recipe=draft.recipe_id)
    newest: Version | None = approved.exclude(pk=draft.based_on_id).first()
    return newest


def draft_sides(draft: Version, current: Version) -> list[Sides]:
    """What the base said, what the draft says, and the approved version: where they differ.

    What the draft says like its base, and the approved version says otherwise, it would undo: that
    counts as the draft's too, so that somebody chooses.
    """
    base, mine, now = _base_of(draft), draft.stated, current.stated
    moved = mine.differing(base) | mine.differing(now)
    return sides_of(base, {code: mine.of(code) for code in moved}, now)


def _base_of(draft: Version) -> Formula:
    return draft.based_on.stated if draft.based_on else Formula()


def rebase_draft(
    *,
    by: User,
    version: Version,
    revision: int,
    current: int,
    choices: Mapping[str, str],
) -> Version:
    """Base a draft on the approved version, row by row as chosen; note and lot stay.

    ``current`` is the id of the approved version whose values were looked at. Each parameter in
    which the draft differs from it, where that moved since the base, needs "proposed" (the
    draft's) or "current". Raises NotPermitted, Refused if it is no draft or stands on the approved
    version, Stale if either moved on, and Invalid naming each choice that is missing or unknown.
    """
    with recorded(by=by, action=history.VERSION_REBASED, subject=subject_of(version)):
        lock_recipe(version.recipe_id)
        now = lock_version(version, by, Verb.RECIPE_DRAFT)
        must_be(now, Version.State.DRAFT, to="moved to another base")
        must_be_at(now, revision)
        approved = newer_than_base(now)
        if approved is None:
            raise Refused("It stands on the approved version already, or nothing is approved.")
        if approved.pk != current:
            raise Stale(
                f"Version {approved.number} was approved meanwhile: look at its values first.",
                now.revision,
            )
        lines = draft_sides(now, approved)
        problems = choice_problems(lines, choices, "draft")
        if problems:
            raise Invalid.of(problems)
        before = now.stated
        compare_and_set(now, revision, last_editor=by, based_on=approved)
        write_rows(now.formula, before, chosen(lines, approved.stated, choices))
        return now


def chosen(lines: list[Sides], current: Formula, choices: Mapping[str, str]) -> Formula:
    """The approved formula with the draft's lines, but where the approved one was chosen."""
    return current | {
        line.code: line.proposed
        for line in lines
        if line.proposed is not None and choices.get(line.code, "proposed") == "proposed"
    }
