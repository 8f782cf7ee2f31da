"""A recipe captured from a good shot: a draft that aims at what the shot weighed and timed."""

from audit.context import recorded
from audit.errors import Refused
from people.models import User
from people.permissions import require
from people.verbs import Verb
from recipes import history
from recipes.actions.drafts import begin
from recipes.actions.locking import subject_of
from recipes.formula import Entry, Formula, read, stored
from recipes.models import PermitChange, Version
from stations.models import CheckShot, Placement

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
