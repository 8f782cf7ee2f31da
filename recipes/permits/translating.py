"""What slots would be set to under a permit: their version's formula with its changes, translated.

A permit changes nothing it does not name: where the formula leaves the water to the stations, a
slot keeps the water it holds.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import partial

from django.db.models import QuerySet

from recipes.formula.control_settings import formula_set
from recipes.formula.formula import Formula
from recipes.station_water.own_water import DECIDING
from recipes.translation.translating import StationTranslation, translate_for
from stations.equipment.models import Slot, Station
from stations.equipment.traits import traits_at
from stations.metrology.formula import TAPER, WATER
from stations.slots.models import Placement

Held = Sequence[tuple[Slot, Placement]]


def translate_permitted(
    formula: Formula,
    changes: Mapping[str, Decimal | str],
    held: Held,
    variant: int | None = None,
    *,
    refuse_above_boiling: bool,
) -> Iterator[tuple[Slot, StationTranslation]]:
    """Each slot with what it would be set to: one translation, whatever their number.

    Where the formula leaves the water to the stations, a slot keeps the water it holds unless the
    permit changes what that is worked out from: a permit changes nothing it does not name. Slots
    of one station that hold different waters then take a translation each. ``variant`` is the
    machine type (id) that the formula is for, if it is not the whole.
    """
    translate = partial(
        translate_for, formula, refuse_above_boiling=refuse_above_boiling, variant=variant
    )
    if not formula.leaves_water:
        done = translate(_stations(held))
        yield from ((slot, done[slot.station_id]) for slot, _ in held)
        return
    keep = not DECIDING.intersection(changes)
    for part in _parts(held):
        if keep:
            done = translate(_stations(part), waters=_waters(part))
            yield from ((slot, _kept(done[slot.station_id], by, changes)) for slot, by in part)
        else:
            # As it was known when they came into force: shots since then do not move the plan.
            until = max(by.started_at or by.due_at for _, by in part)
            done = translate(_stations(part), learnt_until=until)
            yield from ((slot, done[slot.station_id]) for slot, _ in part)


def _kept(
    made: StationTranslation, placement: Placement, changes: Mapping[str, Decimal | str]
) -> StationTranslation:
    """With the taper as it is held: worked out of whole pulses it could move by one."""
    same = {
        code: placement.settings.values[code]
        for code in (WATER, TAPER)
        if code in made.values and code not in changes
    }
    return replace(made, values={**made.values, **same})


def _stations(held: Held) -> QuerySet[Station]:
    return Station.objects.filter(pk__in={slot.station_id for slot, _ in held})


def _parts(held: Held) -> list[list[tuple[Slot, Placement]]]:
    """As few parts as there may be with one set of settings for each station."""
    parts: list[dict[int, int]] = []
    pairs: list[list[tuple[Slot, Placement]]] = []
    for slot, placement in held:
        fits = (
            at
            for at, part in enumerate(parts)
            if part.get(slot.station_id, placement.settings_id) == placement.settings_id
        )
        at = next(fits, len(parts))
        if at == len(parts):
            parts.append({})
            pairs.append([])
        parts[at][slot.station_id] = placement.settings_id
        pairs[at].append((slot, placement))
    return pairs


def _waters(held: Held) -> dict[int, Decimal]:
    """What each station's slots hold now [mL].

    Any, where the translation refuses it for want of a calibration.
    """
    brewed = (
        (slot.station_id, formula_set(placement.settings.values, traits_at(slot.station)))
        for slot, placement in held
    )
    return {station: formula.target(WATER) or Decimal(1) for station, formula in brewed}
