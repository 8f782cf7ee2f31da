"""The shot card: what a cup should be, on one screen with the three numbers that say what it is."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.http import QueryDict
from django.utils.timezone import now

from stations.equipment.models import Station
from stations.lots.shelf import Aged
from stations.metrology.formula import BEVERAGE, DOSE
from stations.shots.forms import CardForm
from stations.shots.grinding import Ground, grinders_of, ground_with
from stations.shots.judging import ShotLine, cup_of, target_lines
from stations.shots.models import CheckShot
from stations.shots.notes import Notes, notes_on
from stations.slots.holdings import Holding
from web.numbers import rounded


@dataclass(frozen=True, slots=True)
class Card:
    """One slot's card: its targets and notes, what is in the grinder, and the form."""

    holding: Holding
    targets: Sequence[ShotLine]
    ratio: Decimal | None
    notes: Notes
    ground: Ground
    aged: Aged | None
    form: CardForm

    @property
    def other_coffee(self) -> bool:
        """Whether another coffee is open than the one that is to be brewed."""
        opening = self.ground.opening
        return bool(opening and self.notes.coffee and opening.coffee != self.notes.coffee)


def card_of(holding: Holding, sent: QueryDict | None = None) -> Card:
    """The card of what a slot holds, with what was sent, if anything."""
    grinders, ground = grinders_of(holding.slot), ground_with(holding.slot, None, None)
    cup = cup_of(holding.placement) if holding.placement and not holding.problem else {}
    targets = target_lines(cup)
    aims = {line.code: line.target for line in targets}
    dose, beverage = aims.get(DOSE), aims.get(BEVERAGE)
    initial = {
        DOSE: dose,
        "grind_setting": ground.setting,
        "grinder": ground.grinder.pk if ground.grinder else None,
        "seen_placement": holding.placement.pk if holding.placement else None,
    }
    held = holding.placement.settings if holding.placement else None
    return Card(
        holding,
        targets,
        rounded(float(beverage / dose), 2) if dose and beverage else None,
        notes_on(held.content_digest, held.variant_id) if held else Notes(),
        ground,
        ground.opening.aged(now()) if ground.opening else None,
        CardForm(sent, initial=initial, grinders=grinders),
    )


def slot_at_hand(station: Station, held: Sequence[Holding], asked: int | None) -> Holding | None:
    """The slot that is asked for, else the one last checked there, else the first that is held."""
    filled = [each for each in held if each.placement]
    last = CheckShot.objects.all().newest_at(station.slots.all(), 1)
    number = asked or last.values_list("slot__number", flat=True).first()
    chosen = (each for each in filled if each.slot.number == number)
    return next(chosen, filled[0] if filled else None)
