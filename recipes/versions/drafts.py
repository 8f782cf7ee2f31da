"""Drafts: begun from nothing, from another version or from a request, and edited."""

from collections.abc import Mapping
from typing import Any

from django.db.models import Max

from audit.capture.context import recorded
from audit.errors import Invalid, NotFound, Refused, Stale, Subject
from audit.revision import Revised, compare_and_set
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes import history
from recipes.coffees.models import Recipe, RoastLot
from recipes.formula.formula import Entry, Formula, Given, differing, read, stored
from recipes.permits.models import PermitChange
from recipes.requests.models import ChangeRequest
from recipes.versions.models import FormulaValue, Version
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from web.text import Checks

# Rows read anew under a lock, so that of two racing changes the later sees the earlier.


def subject_of(version: Version) -> Subject:
    """What a history entry about a version is about: its recipe, under the version's name."""
    return Subject("recipe", version.recipe_id, str(version))


def lock_recipe(recipe_id: int) -> Recipe:
    """The recipe, locked until the end: new numbers and approvals of one recipe take turns."""
    _lock(Recipe, recipe_id)
    return Recipe.objects.select_related("coffee").get(pk=recipe_id)


def lock_version(version: Version, by: User, verb: Verb) -> Version:
    """The version as it is now, locked, for somebody who may. Raises NotPermitted."""
    require(by, verb, subject=subject_of(version))
    _lock(Version, version.pk)
    return Version.objects.with_recipe().get(pk=version.pk)


def lock_request(request: ChangeRequest) -> ChangeRequest:
    """The change request as it is now, locked."""
    _lock(ChangeRequest, request.pk)
    return ChangeRequest.objects.with_base().get(pk=request.pk)


def _lock(model: type[Revised], pk: int) -> None:
    """Wait for the bare row, then let the caller read it with all that belongs to it.

    Locked and joined in one statement, PostgreSQL would hold the row's new foreign keys against
    the joined rows of before the wait, and find nothing. Unordered, because an ordering by other
    tables would lock their rows too, and in another order than the next action does.
    """
    held = model._base_manager.select_for_update().order_by().filter(pk=pk).values_list("pk")
    if not held:
        raise NotFound("It is no longer there.")


def must_be(version: Version, *states: str, to: str) -> None:
    """Raise Refused unless the version is in one of the states in which it can be `to`."""
    if version.state not in states:
        wanted = " or ".join(Version.State(state).label for state in states)
        raise Refused(
            f"Version {version.number} is {version.get_state_display()}: "
            f"only a version that is {wanted} can be {to}."
        )


def must_be_at(thing: Version | ChangeRequest, revision: int | None) -> None:
    """Raise Stale if the caller looked at an older revision (None: they did not say)."""
    if revision is not None and revision != thing.revision:
        raise Stale(
            f"{thing} was changed meanwhile: look at its newest state first.",
            thing.revision,
        )


def advance(version: Version, **fields: Any) -> Version:  # noqa: ANN401
    """Write the fields of a locked version and read back what the database made of them."""
    compare_and_set(version, version.revision, **fields)
    version.refresh_from_db()
    return version


NOTE = 2000  # characters


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
        formula = stored(based_on.formula.all()) if based_on else {}
        request = based_on.change_request if based_on and not based_on.signature_id else None
        return begin(by, recipe, based_on, formula, lot=lot, note=note, request=request)


def begin(
    by: User,
    recipe: Recipe,
    based_on: Version | None,
    formula: Mapping[str, Entry],
    *,
    lot: RoastLot | None,
    note: str,
    request: ChangeRequest | None,
) -> Version:
    """Write a draft; for actions only, inside their `recorded` and after their permission.

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
        change_request=request,
        **_frame(recipe, note, lot),
    )
    _write(version, {}, formula)
    version.refresh_from_db(fields=["created_at"])
    return version


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
        formula, frame = read(values), _frame(now.recipe, note, lot)
        before = stored(now.formula.all())
        same_frame = (now.note, now.lot) == (frame["note"], frame["lot"])
        if differing(before, formula) or not same_frame:
            compare_and_set(now, revision, last_editor=by, **frame)
            _write(now, before, formula)
        return now


def _frame(recipe: Recipe, note: str, lot: RoastLot | None) -> dict[str, object]:
    checks = Checks()
    note = checks.text("note", note, most=NOTE, required=False, lines=True)
    checks.done()
    if lot and lot.coffee_id != recipe.coffee_id:
        raise Invalid("lot", lot, f"a roast lot of {recipe.coffee}")
    return {"note": note, "lot": lot}


def _write(version: Version, before: Mapping[str, Entry], after: Mapping[str, Entry]) -> None:
    """One statement for what goes, one for what is new or says something else."""
    gone = before.keys() - after.keys()
    if gone:
        version.formula.filter(code__in=gone).delete()
    changed: Formula = {code: after[code] for code in after if before.get(code) != after[code]}
    if changed:
        FormulaValue.objects.bulk_create(
            [FormulaValue(version=version, code=c, **e._asdict()) for c, e in changed.items()],
            update_conflicts=True,
            unique_fields=["version", "code"],
            update_fields=Entry._fields,
        )


# A recipe captured from a good shot: a draft that aims at what the shot weighed and timed.

UNSIGNED = (
    "No signed recipe was in force at the slot when this shot was poured, so nobody knows what it "
    "was set to. Begin a draft from the recipe's page and type the shot in."
)
LEFT_OUT = "This shot is left out, so that nothing is learnt from it. Capture another."


def draft_from_shot(*, by: User, shot: CheckShot) -> Version:
    """Begin a draft with the shot's dose [g], beverage mass [g] and time [s] for targets.

    All else, tolerances too, stays as in the version it was poured under, with what a permit
    changed then. Raises NotPermitted; Refused where no signed recipe was in force, or the shot is
    left out; Invalid where a recipe can't aim at what was measured.
    """
    base = _poured_under(shot)
    if base is None:
        raise Refused(UNSIGNED)
    subject = subject_of(base)
    with recorded(by=by, action=history.VERSION_DRAFTED, subject=subject, site_id=shot.site_id):
        require(by, Verb.RECIPE_DRAFT, subject=subject)
        if shot.left_out:
            raise Refused(LEFT_OUT)
        note = f"From {shot} at {shot.slot.station.machine.site}, {shot.slot}."
        formula = read(_aims(shot, base))
        return begin(by, base.recipe, base, formula, lot=base.lot, note=note, request=None)


def _poured_under(shot: CheckShot) -> Version | None:
    digest = shot.placement.settings.content_digest
    signed = Version.objects.with_recipe().filter(signature__isnull=False)
    found: Version | None = signed.filter(content_digest=digest).first() if digest else None
    return found


def _aims(shot: CheckShot, base: Version) -> Formula:
    formula = stored(base.formula.all())
    if shot.placement.basis == Placement.Basis.PERMIT:
        for change in PermitChange.objects.filter(permit=shot.placement.basis_id):
            before = formula.get(change.code, Entry())
            formula[change.code] = before._replace(target=change.target, text=change.text)
    for code in ("dose_mass", "beverage_mass", "shot_time"):
        formula[code] = formula.get(code, Entry())._replace(target=getattr(shot, code))
    return formula
