"""A draft captured from a good shot: it aims at what the shot weighed and timed."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal

from audit.capture.context import recorded
from audit.errors import Refused
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.formula.formula import Formula
from recipes.versions import history
from recipes.versions.drafts import begin, subject_of
from recipes.versions.models import Version
from stations.metrology.formula import IN_CUP
from stations.shots.models import CheckShot
from stations.slots.models import Placement

UNSIGNED = (
    "No signed recipe was in force at the slot when this shot was poured, so nobody knows what it "
    "was set to. Begin a draft from the recipe's page and type the shot in."
)
LEFT_OUT = "This shot is left out, so that nothing is learnt from it. Capture another."


Deviations = Callable[[Placement], Mapping[str, tuple[Decimal | None, str]]]
"""What a placement was allowed to differ in from its version: target or text by parameter."""

_deviations: list[Deviations] = []


def register_deviations(read: Deviations) -> None:
    """Called when the program starts, by the package that allows slots to differ."""
    _deviations.append(read)


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
        formula = Formula.read(_aims(shot, base))
        return begin(
            by=by, recipe=base.recipe, based_on=base, formula=formula, lot=base.lot, note=note
        )


def _poured_under(shot: CheckShot) -> Version | None:
    digest = shot.placement.settings.content_digest
    signed = Version.objects.with_recipe().filter(signature__isnull=False)
    version: Version | None = signed.filter(content_digest=digest).first() if digest else None
    return version


def _aims(shot: CheckShot, base: Version) -> Formula:
    formula = base.stated
    for deviations_of in _deviations:
        formula |= {
            code: replace(formula.of(code), target=target, text=text)
            for code, (target, text) in deviations_of(shot.placement).items()
        }
    return formula.with_targets({code: getattr(shot, code) for code in IN_CUP})
