"""What accepting a calibration would change in a station's slots, before anybody signs."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from functools import cached_property
from itertools import chain
from typing import Any

import rfc8785

from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.permits.models import Permit
from recipes.translation.translating import StationTranslation, quantities, translate_for
from recipes.versions.holding import SIGNED_FOR_IT, versions_of
from recipes.versions.models import Version
from stations.calibrations.models import Calibration
from stations.calibrations.outcome import outcome_of
from stations.equipment.models import Slot, Station
from stations.slots.models import Placement, PlacementQuerySet

Basis = Placement.Basis


class Outcome(StrEnum):
    """What accepting does to one slot."""

    PLACE = "place"
    SAME = "same"  # the new settings are the old ones
    REFUSE = "refuse"  # keeps its old settings until a head roaster decides
    FALL_BACK = "fall_back"  # on permit: what it falls back to when that ends is placed anew
    LEAVE = "leave"  # set by hand, or on permit and nothing changes beneath it


ANEW = (Outcome.PLACE, Outcome.FALL_BACK)


@dataclass(frozen=True)
class SlotLine:
    """One slot: what it should hold now, and what it would hold.

    On a permit, ``beneath`` is what it falls back to now, and the translation is of that.
    """

    slot: Slot
    held: Placement
    outcome: Outcome
    version: Version | None = None
    translation: StationTranslation | None = None
    reasons: tuple[str, ...] = ()
    beneath: Placement | None = None
    until: datetime | None = None  # the permit's end

    @property
    def replaced(self) -> Placement:
        """What the translation takes the place of."""
        return self.beneath or self.held

    @property
    def changes(self) -> list[tuple[str, str, str, str]]:
        """(code, old value, new value, unit) of each setting that differs."""
        if self.translation is None or self.outcome not in ANEW:
            return []
        old, new = self.replaced.settings.values, self.translation.values
        return [
            (code, old.get(code, {}).get("value", ""), new[code]["value"], new[code]["unit"])
            for code in new
            if old.get(code, {}).get("value") != new[code]["value"]
        ]


@dataclass(frozen=True)
class RetranslationPlan:
    """A calibration, and every slot of its station that holds something.

    ``concerns`` speak against accepting: whoever does writes why, and signs that.
    """

    calibration: Calibration
    lines: list[SlotLine]
    waiting: list[Placement]
    concerns: list[str]

    def of(self, outcome: Outcome) -> list[SlotLine]:
        """The lines with this outcome."""
        return [line for line in self.lines if line.outcome is outcome]

    @cached_property
    def to_place(self) -> list[SlotLine]:
        """The slots that get new settings, at once or beneath a permit."""
        return [line for line in self.lines if line.outcome in ANEW]

    @cached_property
    def seen(self) -> bytes:
        """The RFC 8785 bytes of everything a signer sees in the plan."""
        each = self.calibration
        numbers = (each.value, each.uncertainty, each.repeatability)
        content: dict[str, Any] = {
            "calibration": each.pk,
            "kind": each.kind,
            "runs": each.runs,
            "values": [None if value is None else format(value, "f") for value in numbers],
            "due_on": each.due_on.isoformat(),
            "slots": [
                [
                    line.slot.pk,
                    line.held.pk,
                    str(line.outcome),
                    line.translation.values if line.translation else None,
                    list(line.reasons),
                    line.beneath.pk if line.beneath else None,
                ]
                for line in self.lines
            ],
        }
        return rfc8785.dumps(content)

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hex) over it."""
        return hashlib.sha256(self.seen).hexdigest()


def make_retranslation_plan(*, calibration: Calibration, by: User) -> RetranslationPlan:
    """Work out what accepting would do, without writing anything. Raises NotPermitted."""
    require(by, Verb.CALIBRATION_RECORD, calibration.station.machine.site_id)
    here = Placement.objects.filter(slot__station=calibration.station_id)
    held = list(here.in_force().select_related("settings", "slot").order_by("slot__number"))
    waiting = list(here.filter(state="scheduled").select_related("settings", "slot"))
    beneath = _beneath(here)
    every = [*held, *(each for each, _ in beneath.values())]
    versions = versions_of(each for each in every if each.basis in SIGNED_FOR_IT)
    translated = {digest: _translated(version, calibration) for digest, version in versions.items()}
    lines = [
        _line(each, versions, translated)
        if each.basis != Basis.PERMIT
        else _line_on_permit(each, beneath.get(each.slot_id), versions, translated)
        for each in held
    ]
    outcome = outcome_of(calibration.kind, calibration.runs, calibration.air_pressure)
    return RetranslationPlan(calibration, lines, waiting, [*outcome.concerns, *_flagged(lines)])


def _flagged(lines: Iterable[SlotLine]) -> list[str]:
    """What whoever signs accepts by name, such as a temperature that is above boiling by now."""
    found = (
        line.translation.to_acknowledge
        for line in lines
        if line.translation and line.outcome in ANEW
    )
    return sorted(set(chain.from_iterable(found)))


def _beneath(here: PlacementQuerySet) -> dict[int, tuple[Placement, datetime]]:
    """What each slot on a permit falls back to, and when the permit ends."""
    aside = list(here.filter(state="suspended").select_related("settings", "superseded_by"))
    permits = {each.superseded_by.basis_id or 0 for each in aside if each.superseded_by}
    ends = dict(Permit.objects.filter(pk__in=permits).values_list("pk", "ends_at"))
    return {
        each.slot_id: (each, ends[each.superseded_by.basis_id])
        for each in aside
        if each.superseded_by and each.superseded_by.basis_id in ends
    }


def _translated(version: Version, calibration: Calibration) -> StationTranslation:
    here: Sequence[int] = [calibration.station_id]
    formula = quantities(version.formula.all())
    stations = Station.objects.filter(pk__in=here)
    # Shots logged while somebody reads the plan do not move it.
    until = calibration.recorded_at
    return translate_for(formula, stations, calibration.traits, until)[calibration.station_id]


def _line(
    held: Placement,
    versions: Mapping[str, Version],
    translated: Mapping[str, StationTranslation],
) -> SlotLine:
    if held.basis == Basis.BY_HAND:
        reason = "Set by hand: whoever set it decides whether it needs another value."
        return SlotLine(held.slot, held, Outcome.LEAVE, reasons=(reason,))
    version = versions.get(held.settings.content_digest)
    if version is None:
        reason = "What it holds belongs to no approved version, so it can't be translated anew."
        return SlotLine(held.slot, held, Outcome.REFUSE, reasons=(reason,))
    new = translated[held.settings.content_digest]
    if new.refusals:
        return SlotLine(held.slot, held, Outcome.REFUSE, version, new, new.refusals)
    outcome = Outcome.SAME if new.values == held.settings.values else Outcome.PLACE
    return SlotLine(held.slot, held, outcome, version, new, new.flags)


def _line_on_permit(
    held: Placement,
    beneath: tuple[Placement, datetime] | None,
    versions: Mapping[str, Version],
    translated: Mapping[str, StationTranslation],
) -> SlotLine:
    """The permit's own settings are signed as they are; what it falls back to is translated."""
    on = f"On deviation permit {held.basis_id}: it keeps its settings until that ends"
    if beneath is None:
        return SlotLine(held.slot, held, Outcome.LEAVE, reasons=(f"{on}.",))
    line, until = _line(beneath[0], versions, translated), beneath[1]
    line = replace(line, held=held, slot=held.slot, beneath=beneath[0], until=until)
    if line.outcome is Outcome.PLACE:
        return replace(line, outcome=Outcome.FALL_BACK, reasons=(f"{on}.", *line.reasons))
    if line.outcome is Outcome.REFUSE:
        why = f"{on}, then falls back to what was translated before this calibration"
        return replace(line, reasons=(f"{why}.", *line.reasons))
    same = f"{on}; what it falls back to stays the same."
    return replace(line, outcome=Outcome.LEAVE, reasons=(same, *line.reasons))
