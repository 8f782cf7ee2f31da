"""A draft from a good shot: it aims at what the shot weighed and timed.

Under a signed recipe all else stays as that says. On a slot that was set by hand, as one does
while dialling in, everything the machine was set to comes along, and tolerances are proposed.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

from django.db.models import QuerySet

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.coffees.models import Recipe, RoastLot
from recipes.formula.control_settings import formula_set
from recipes.formula.formula import TEXT, Formula
from recipes.formula.parameters import PARAMETERS
from recipes.versions import history
from recipes.versions.drafts import begin, subject_of
from recipes.versions.models import Version
from recipes.versions.widths import house_widths, spreads_of, with_widths
from stations.equipment.traits import traits_at
from stations.metrology.formula import IN_CUP, Stated
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from web.printing import number

UNSIGNED = (
    "No signed recipe was in force at the slot when this shot was poured: it was set by hand. Say "
    "which recipe the draft is for."
)
LEFT_OUT = "This shot is left out, so that nothing is learnt from it. Capture another."

Deviations = Callable[[Placement], Mapping[str, tuple[Decimal | None, str]]]
"""What a placement was allowed to differ in from its version: target or text by parameter."""

_deviations: list[Deviations] = []


def register_deviations(read: Deviations) -> None:
    """Called when the program starts, by the package that allows slots to differ."""
    _deviations.append(read)


def draft_from_shot(*, by: User, shot: CheckShot, recipe: Recipe | None = None) -> Version:
    """Begin a draft with the shot's dose [g], beverage mass [g] and time [s] for targets.

    Under a signed recipe, all else stays as in its version, with what a permit changed then. On a
    slot set by hand ``recipe`` says what it is a draft of: every setting of the machine is taken
    over with the grind and the lot, and tolerances are the house's, or wider where the station's
    own shots scatter further. Raises NotPermitted; Refused where the shot is left out, or was set
    by hand and no recipe is named; Invalid where the recipe is of another coffee than was open,
    or can't aim at what was measured.
    """
    base = poured_under(shot)
    if base is None and recipe is None:
        raise Refused(UNSIGNED)
    of = base.recipe if base else recipe
    assert of is not None
    subject = subject_of(base) if base else Subject("recipe", of.pk, str(of))
    with recorded(by=by, action=history.VERSION_DRAFTED, subject=subject, site_id=shot.site_id):
        require(by, Verb.RECIPE_DRAFT, subject=subject)
        if shot.left_out:
            raise Refused(LEFT_OUT)
        if base:
            return _from_signed(by, shot, base)
        return _from_hand(by, shot, of)


def _from_signed(by: User, shot: CheckShot, base: Version) -> Version:
    """What was poured by a variant is another variant: the whole formula stays what it was."""
    aims, variant = Formula.read(_aims(shot, base)), shot.placement.settings.variant_id
    formula = aims if variant is None else base.stated
    variants = {**base.variants, **({} if variant is None else {variant: aims})}
    return begin(
        by=by, recipe=base.recipe, based_on=base, formula=formula, lot=base.lot,
        note=_place(shot), variants=variants,
    )  # fmt: skip


def _from_hand(by: User, shot: CheckShot, recipe: Recipe) -> Version:
    proposed = propose(shot)
    lot = proposed.lot
    if lot is not None and lot.coffee_id != recipe.coffee_id:
        raise Invalid("recipe", recipe, f"one of {lot.coffee}, which was open when it was poured")
    note = " ".join([_place(shot), *proposed.notes])
    return begin(
        by=by, recipe=recipe, based_on=None, formula=Formula.read(proposed.formula),
        lot=lot, note=note,
    )  # fmt: skip


def _place(shot: CheckShot) -> str:
    return f"From {shot} at {shot.slot.station.machine.site}, {shot.slot}."


def poured_under(shot: CheckShot) -> Version | None:
    """The signed version that was in force when it was poured; None on a slot set by hand."""
    digest = shot.placement.settings.content_digest
    signed = Version.objects.with_recipe().filter(signature__isnull=False)
    version: Version | None = signed.filter(content_digest=digest).first() if digest else None
    return version


def _aims(shot: CheckShot, base: Version) -> Formula:
    formula = base.stated_for(shot.placement.settings.variant_id)
    for deviations_of in _deviations:
        formula |= {
            code: replace(formula.of(code), target=target, text=text)
            for code, (target, text) in deviations_of(shot.placement).items()
        }
    return formula.with_targets({code: getattr(shot, code) for code in IN_CUP})


# What a shot on a slot set by hand says of a recipe.


@dataclass(frozen=True, slots=True)
class Proposed:
    """The formula, the lot it was dialled in with, and sentences on what they rest on."""

    formula: Formula
    lot: RoastLot | None
    notes: list[str]


def propose(shot: CheckShot) -> Proposed:
    """What a draft from a shot on a slot set by hand would say."""
    lot = _lot_of(shot)
    formula, untold = _poured(shot)
    formula, wider = with_widths(formula, house_widths(), spreads_of(shot.slot.station))
    notes = ["Tolerances are the house's."]
    if wider:
        notes = [f"Tolerances are the house's; wider: {'; '.join(wider)}."]
    if untold:
        notes.append(f"Not known without a calibration of this station: {', '.join(untold)}.")
    if lot is None:
        notes.append("No lot was open when it was poured.")
    return Proposed(formula, lot, notes)


def _lot_of(shot: CheckShot) -> RoastLot | None:
    opening = shot.opening
    lots = RoastLot.objects.select_related("coffee")
    return lots.filter(pk=opening.lot_id).first() if opening else None


def recipes_for(shot: CheckShot) -> QuerySet[Recipe]:
    """Those it may be a draft of: of the coffee that was open, all where none was."""
    lot = _lot_of(shot)
    known = Recipe.objects.select_related("coffee")
    return known.filter(coffee=lot.coffee_id) if lot else known


def _poured(shot: CheckShot) -> tuple[Formula, list[str]]:
    """What the machine was set to and what came of it; and settings that can't be told."""
    held = shot.placement.settings.values
    found = formula_set(held, traits_at(shot.slot.station))
    told = {code: _rounded(code, stated) for code, stated in found.items()}
    cup = {code: Stated(getattr(shot, code)) for code in IN_CUP}
    untold = [PARAMETERS[code].label.lower() for code in held if code in PARAMETERS.keys() - told]
    return Formula({**told, **cup, "grind_note": Stated(text=_ground(shot))}), untold


def _rounded(code: str, stated: Stated) -> Stated:
    """A setting in the parameter's own unit, at the finest step worth writing down."""
    if stated.target is None:
        return stated
    step = PARAMETERS[code].resolution
    return replace(stated, target=(stated.target / step).quantize(Decimal(1), ROUND_HALF_UP) * step)


def _ground(shot: CheckShot) -> str:
    if shot.grinder is None or shot.grind_setting is None:
        return ""
    return f"{shot.grinder.name} at {number(shot.grind_setting)}"[:TEXT]
