"""Drafts: begun from nothing, from another version or a request, and edited."""

from collections.abc import Mapping

from django.db.models import Max

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject
from audit.revision import compare_and_set, lock, must_be_at
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.coffees.models import Recipe, RoastLot
from recipes.formula.formula import Formula, Given, write_rows
from recipes.versions import history
from recipes.versions.deciding import must_be
from recipes.versions.models import Version
from web.checks import Checks

NOTE = 2000  # characters


def subject_of(version: Version) -> Subject:
    """What a history entry about a version is about: its recipe, under the version's name."""
    return Subject("recipe", version.recipe_id, str(version))


def lock_recipe(recipe_id: int) -> Recipe:
    """The recipe, locked until the end: new numbers and approvals of one recipe take turns."""
    lock(Recipe, recipe_id)
    return Recipe.objects.select_related("coffee").get(pk=recipe_id)


def lock_version(version: Version, by: User, verb: Verb) -> Version:
    """The version as it is now, locked, for somebody who may. Raises NotPermitted."""
    require(by, verb, subject=subject_of(version))
    lock(Version, version.pk)
    return Version.objects.with_recipe().get(pk=version.pk)


def newest_lot(recipe: Recipe) -> RoastLot | None:
    """The lot roasted last of the recipe's coffee: what the next version is dialled in with."""
    lot: RoastLot | None = recipe.coffee.lots.order_by("-roasted_on", "-id").first()
    return lot


def new_draft(
    *,
    by: User,
    recipe: Recipe,
    based_on: Version | None = None,
    lot: RoastLot | None = None,
    note: str = "",
) -> Version:
    """Begin a version under the next number, with the formula of `based_on` if given.

    Raises NotPermitted, Invalid for a foreign lot or note, Refused for a foreign `based_on`.
    """
    subject = Subject("recipe", recipe.pk, str(recipe))
    with recorded(by=by, action=history.VERSION_DRAFTED, subject=subject):
        require(by, Verb.RECIPE_DRAFT, subject=subject)
        if based_on and based_on.recipe_id != recipe.pk:
            raise Refused(f"{based_on} is of another recipe: a draft begins from its own recipe.")
        formula = based_on.stated if based_on else Formula()
        unsigned = based_on if based_on and not based_on.signature_id else None
        return begin(
            by=by, recipe=recipe, based_on=based_on, formula=formula, lot=lot, note=note,
            change_request_id=unsigned.change_request_id if unsigned else None,
        )  # fmt: skip


def begin(
    *,
    by: User,
    recipe: Recipe,
    based_on: Version | None,
    formula: Formula,
    lot: RoastLot | None,
    note: str,
    variants: Mapping[int, Formula] | None = None,
    change_request_id: int | None = None,
) -> Version:
    """Write a draft; for actions only, inside their `recorded` and after their permission.

    Without ``variants``, by machine type (id), it carries those of ``based_on``.
    A request that was never approved travels on with its values: whoever made it stays barred
    from approving them.
    """
    recipe = lock_recipe(recipe.pk)
    last = recipe.versions.aggregate(last=Max("number"))["last"] or 0
    version = Version.objects.create(
        recipe=recipe,
        number=last + 1,
        author=by,
        last_editor=by,
        based_on=based_on,
        change_request_id=change_request_id,
        **_frame(recipe, note, lot),
    )
    write_rows(version.formula, Formula(), formula)
    carried = based_on.variants if variants is None and based_on else variants or {}
    for machine_type, each in carried.items():
        write_variant(version, machine_type, Formula(), each)
    version.refresh_from_db(fields=["created_at"])
    return version


def write_variant(version: Version, machine_type: int, before: Formula, after: Formula) -> None:
    """Make a machine type's variant state ``after``; for actions only, on a locked draft."""
    write_rows(version.variant_values, before, after, machine_type_id=machine_type)


def edit_draft(
    *,
    by: User,
    version: Version,
    revision: int,
    values: Given,
    note: str = "",
    lot: RoastLot | None = None,
) -> Version:
    """Make a draft say exactly `values`, which is the whole formula; write only what differs.

    Nothing different: nothing is written, and the last editor stays who it was.
    Raises NotPermitted, Invalid with every problem, Refused if no draft, Stale if it moved on.
    """
    with recorded(by=by, action=history.VERSION_EDITED, subject=subject_of(version)):
        now = lock_version(version, by, Verb.RECIPE_DRAFT)
        must_be(now, Version.State.DRAFT, to="edited")
        must_be_at(now, revision)
        formula, frame = Formula.read(values), _frame(now.recipe, note, lot)
        before = now.stated
        same_frame = (now.note, now.lot) == (frame["note"], frame["lot"])
        if before.differing(formula) or not same_frame:
            compare_and_set(now, revision, last_editor=by, **frame)
            write_rows(now.formula, before, formula)
        return now


def _frame(recipe: Recipe, note: str, lot: RoastLot | None) -> dict[str, object]:
    checks = Checks()
    note = checks.text("note", note, most=NOTE, required=False, lines=True)
    checks.done()
    if lot and lot.coffee_id != recipe.coffee_id:
        raise Invalid("lot", lot, f"a roast lot of {recipe.coffee}")
    return {"note": note, "lot": lot}
