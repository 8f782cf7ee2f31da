"""A draft that began from an older version than the approved one: what it undoes, and moving it."""

from collections.abc import Iterator, Mapping
from decimal import Decimal

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Stale
from audit.revision import compare_and_set, must_be_at
from people.persons.models import User
from people.persons.verbs import Verb
from recipes.formula.display import Row, rows
from recipes.formula.formula import Formula, write_rows
from recipes.formula.parameters import PARAMETERS, PRINTED, Parameter, SetBy
from recipes.formula.sides import Sides, choice_problems, sides_of
from recipes.versions import history
from recipes.versions.complete import field_in, names_of
from recipes.versions.deciding import must_be
from recipes.versions.drafts import lock_recipe, lock_version, subject_of, write_variant
from recipes.versions.models import Version
from stations.metrology.formula import Stated
from stations.metrology.rules import NOT_SET


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
    counts as the draft's too, so that somebody chooses. The variant for a machine type is one line,
    kept or taken as a whole.
    """
    base, mine, now = _base_of(draft), draft.stated, current.stated
    moved = mine.differing(base) | mine.differing(now)
    lines = sides_of(base, {code: mine.of(code) for code in moved}, now)
    return [*lines, *_variant_sides(draft, current)]


def _variant_sides(draft: Version, current: Version) -> Iterator[Sides]:
    """A line for each machine type whose variant is not the same on all three sides."""
    base = draft.based_on.variants if draft.based_on else {}
    mine, now = draft.variants, current.variants
    names = names_of(base.keys() | mine.keys() | now.keys())
    for pk in sorted(names, key=names.__getitem__):
        was, says, is_now = (_in_a_line(side.get(pk, Formula())) for side in (base, mine, now))
        if not was == says == is_now:
            label = f"Variant for {names[pk]}"
            whole = Parameter(field_in(pk), label, "", SetBy.MACHINE, NOT_SET)
            yield Sides(whole, was, says, is_now)


def _in_a_line(formula: Formula) -> Stated:
    """All that a variant states, equal where it is equal by value."""
    parts = [f"{row['label'].lower()} {_said(row)}" for row in rows(Formula(), formula)]
    return Stated(text="; ".join(parts))


def _said(row: Row) -> str:
    """In the parameter's own unit, whoever reads: two that differ never read alike."""
    numbers = [row["new"], row["new_below"], row["new_above"]]
    new, below, above = (f"{n.normalize():f}" if isinstance(n, Decimal) else n for n in numbers)
    unit = PRINTED.get(row["unit"], row["unit"])
    widths = f" -{below or '?'} +{above or '?'}" if below or above else ""
    return f"{new} {unit}".rstrip() + widths


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
        before, variants = now.stated, now.variants
        compare_and_set(now, revision, last_editor=by, based_on=approved)
        write_rows(now.formula, before, chosen(lines, approved.stated, choices))
        for pk, formula in _chosen_variants(lines, variants, approved.variants, choices).items():
            write_variant(now, pk, variants.get(pk, Formula()), formula)
        return now


def _chosen_variants(
    lines: list[Sides],
    mine: Mapping[int, Formula],
    current: Mapping[int, Formula],
    choices: Mapping[str, str],
) -> dict[int, Formula]:
    """The approved variants, but the draft's where that was chosen."""
    kept = {each.code for each in lines if choices.get(each.code, "proposed") == "proposed"}
    return {
        pk: (mine if field_in(pk) in kept else current).get(pk, Formula())
        for pk in mine.keys() | current.keys()
    }


def chosen(lines: list[Sides], current: Formula, choices: Mapping[str, str]) -> Formula:
    """The approved formula with the draft's lines, but where the approved one was chosen."""
    return current | {
        line.code: line.proposed
        for line in lines
        if line.code in PARAMETERS
        and line.proposed is not None
        and choices.get(line.code, "proposed") == "proposed"
    }
