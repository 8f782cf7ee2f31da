"""A version bent by a permit, translated for the slots that hold it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from django.db.models import QuerySet

from recipes.translating import StationTranslation, translate_for
from recipes.yielding import DECIDING, WATER, leaves_water
from stations.metrology.abilities import Quantity
from stations.models import Placement, Slot, Station

TAPER = "taper_start"
Held = Sequence[tuple[Slot, Placement]]


def bent(
    formula: Sequence[Quantity], changes: Mapping[str, Decimal | str], held: Held
) -> Iterator[tuple[Slot, StationTranslation]]:
    """Each slot with what it would be set to: one translation, whatever their number.

    Where the formula leaves the water to the stations, a slot keeps the water it holds unless the
    permit changes what that is worked out from: a permit changes nothing it does not name. Slots
    of one station that hold different waters then take a translation each.
    """
    if not leaves_water({each.code: each for each in formula}):
        done = translate_for(formula, _stations(held))
        yield from ((slot, done[slot.station_id]) for slot, _ in held)
        return
    keep = not DECIDING.intersection(changes)
    for part in _parts(held):
        if keep:
            done = translate_for(formula, _stations(part), waters=_waters(part))
            yield from ((slot, _kept(done[slot.station_id], by, changes)) for slot, by in part)
        else:
            # As it was known when they came into force: shots since then do not move the plan.
            until = max(by.started_at or by.due_at for _, by in part)
            done = translate_for(formula, _stations(part), learnt_until=until)
            yield from ((slot, done[slot.station_id]) for slot, _ in part)


def _kept(
    made: StationTranslation, held: Placement, changes: Mapping[str, Decimal | str]
) -> StationTranslation:
    """With the taper as it is held: worked out of whole pulses it could move by one."""
    same = {
        code: held.settings.values[code]
        for code in (WATER, TAPER)
        if code in made.values and code not in changes
    }
    return replace(made, values={**made.values, **same})


def _stations(held: Held) -> QuerySet[Station]:
    return Station.objects.filter(pk__in={slot.station_id for slot, _ in held})


def _parts(held: Held) -> list[list[tuple[Slot, Placement]]]:
    """As few parts as there may be with one set of settings for each station."""
    parts: list[dict[int, int]] = []
    found: list[list[tuple[Slot, Placement]]] = []
    for slot, placement in held:
        fits = (
            at
            for at, part in enumerate(parts)
            if part.get(slot.station_id, placement.settings_id) == placement.settings_id
        )
        at = next(fits, len(parts))
        if at == len(parts):
            parts.append({})
            found.append([])
        parts[at][slot.station_id] = placement.settings_id
        found[at].append((slot, placement))
    return found


def _waters(held: Held) -> dict[int, Decimal]:
    """What each station's slots hold now [mL]: pulses by its flow meter."""
    return {
        slot.station_id: Decimal(placement.settings.values[WATER]["value"])
        / (slot.station.pulses_per_millilitre or 1)
        for slot, placement in held
    }
