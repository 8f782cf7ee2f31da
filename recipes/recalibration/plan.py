"""What accepting a calibration would change in a station's slots, before anybody signs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any

from audit.errors import Refused
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from people.policy.models import Policy
from recipes.permits.models import Permit
from recipes.planning.accepting import Accepted, to_accept
from recipes.planning.facts import SlotReason, slot_fact, words
from recipes.planning.plan import (
    PERMIT,
    PLACED,
    RE_TRANSLATION,
    Outcome,
    Plan,
    SlotLine,
    stations_of,
)
from recipes.translation.translating import StationTranslation, translate_for
from recipes.versions.holding import SIGNED_FOR_IT, versions_of
from recipes.versions.models import Version
from stations.calibrations.models import Calibration
from stations.calibrations.outcome import outcome_kept
from stations.calibrations.questions import open_questions
from stations.equipment.models import Slot, Station
from stations.slots.bases import say_waiting
from stations.slots.models import Placement, PlacementQuerySet


@dataclass(frozen=True, slots=True)
class RetranslationLine(SlotLine[Slot, Placement]):
    """One slot: what it should hold now, and what it would hold, of the same formula.

    What was published as a machine type's variant stays one, though the whole formula might fit
    now: which drink a bar serves is not for a calibration to decide. On a permit, ``beneath`` is
    what it falls back to now, and the translation is of that.
    """

    beneath: Placement | None = None
    until: datetime | None = None  # the permit's end

    @property
    def replaced(self) -> Placement:
        """What the translation takes the place of."""
        found = self.beneath or self.held
        if found is None:
            raise RuntimeError("a re-translation is of what is held")
        return found

    @property
    def variant(self) -> int | None:
        """The machine type (id) whose variant it stays; None for the whole formula."""
        return self.translation.variant if self.translation else None

    @property
    def changes(self) -> list[tuple[str, str, str, str]]:
        """(code, old value, new value, unit) of each setting that differs."""
        if self.translation is None or self.outcome not in PLACED:
            return []
        old, new = self.replaced.settings.values, self.translation.values
        return [
            (code, old.get(code, {}).get("value", ""), new[code]["value"], new[code]["unit"])
            for code in new
            if old.get(code, {}).get("value") != new[code]["value"]
        ]


@dataclass(frozen=True, kw_only=True)
class RetranslationPlan(Plan[RetranslationLine]):
    """What accepting a calibration changes, slot by slot; ``concerns`` speak against it."""

    kind = RE_TRANSLATION
    calibration: Calibration
    waiting: Sequence[RetranslationLine]  # what is to come into force here, by a publication

    @property
    def site_names(self) -> dict[int, str]:
        """The station's site."""
        site = self.calibration.station.machine.site
        return {site.pk: str(site)}

    @property
    def ahead(self) -> list[RetranslationLine]:
        """Of what waits, that which is translated anew."""
        return [line for line in self.waiting if line.outcome is Outcome.PLACE]

    @property
    def withdrawn(self) -> list[RetranslationLine]:
        """Of what waits, that which this station can't hold any more."""
        return [line for line in self.waiting if line.outcome is Outcome.REFUSE]

    @cached_property
    def accepted(self) -> list[Accepted]:
        """What a named person must accept, of what waits as well."""
        return to_accept(stations_of([*self.to_place, *self.ahead]))

    @cached_property
    def concerns(self) -> list[str]:
        """What speaks against accepting, in the runs or in what follows: it takes a reason."""
        each = self.calibration
        measured = outcome_kept(each)
        asked = open_questions(each)
        return [*measured.concerns, *asked, *sorted(words(one.flag) for one in self.accepted)]

    def hindrance(self) -> Refused | None:
        """None: what can't hold the new settings is told slot by slot."""
        return None

    def content(self) -> dict[str, Any]:
        """The calibration's result, and slot by slot what is held and what would be."""
        each = self.calibration
        numbers = (each.value, each.uncertainty, each.repeatability)
        # What was asked is signed with the answers; earlier plans knew no questions.
        answers = {"answers": each.answers} if each.answers else {}
        typed = {"typed_because": each.typed_because} if each.typed_because else {}
        return {
            **answers,
            **typed,
            "calibration": each.pk,
            "kind": each.kind,
            "runs": each.runs,
            "values": [None if value is None else format(value, "f") for value in numbers],
            "due_on": each.due_on.isoformat(),
            "slots": [
                [
                    line.slot.pk,
                    line.held.pk if line.held else None,
                    str(line.outcome),
                    line.translation.values if line.translation else None,
                    [fact.as_json() for fact in line.facts],
                    line.beneath.pk if line.beneath else None,
                    *([line.variant] if line.variant else []),
                ]
                for line in self.lines
            ],
        } | ({"waiting": [_seen_waiting(line) for line in self.waiting]} if self.waiting else {})


def _seen_waiting(line: RetranslationLine) -> list[Any]:
    return [
        line.replaced.pk,
        line.slot.pk,
        str(line.outcome),
        line.translation.values if line.translation else None,
        [fact.as_json() for fact in line.facts],
        line.replaced.settings.content_digest,
        *([line.variant] if line.variant else []),
    ]


def make_retranslation_plan(*, by: User, calibration: Calibration) -> RetranslationPlan:
    """Work out what accepting would do, without writing anything. Raises NotPermitted."""
    require(by, Verb.CALIBRATION_RECORD, calibration.station.machine.site_id)
    here = Placement.objects.filter(slot__station=calibration.station_id)
    held = list(here.in_force().select_related("settings", "slot").order_by("slot__number"))
    coming = here.filter(state="scheduled", manner="takes_over")
    waiting = list(coming.select_related("settings", "slot").order_by("slot__number"))
    say_waiting(waiting)
    beneath = _beneath(here)
    every = [*held, *waiting, *(each for each, _ in beneath.values())]
    versions = versions_of(each for each in every if each.manner in SIGNED_FOR_IT)
    refuse = Policy.current().refuses_above_boiling
    translated = {
        (digest, variant): _translated(
            versions[digest], variant, calibration, refuse_above_boiling=refuse
        )
        for digest, variant in sorted({_content_of(each) for each in every}, key=str)
        if digest in versions
    }
    lines = [
        _line(each, versions, translated)
        if each.basis != PERMIT.basis
        else _line_on_permit(each, beneath.get(each.slot_id), versions, translated)
        for each in held
    ]
    ahead = [_line(each, versions, translated) for each in waiting]
    return RetranslationPlan(lines=lines, calibration=calibration, waiting=ahead)


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


def _translated(
    version: Version,
    variant: int | None,
    calibration: Calibration,
    *,
    refuse_above_boiling: bool,
) -> StationTranslation:
    here: Sequence[int] = [calibration.station_id]
    # Shots logged while somebody reads the plan do not move it.
    done = translate_for(
        version.stated_for(variant),
        Station.objects.filter(pk__in=here),
        refuse_above_boiling=refuse_above_boiling,
        measured=calibration.traits,
        learnt_until=calibration.recorded_at,
        variant=variant,
    )
    return done[calibration.station_id]


Content = tuple[str, int | None]
"""The digest of a version, and the machine type (id) whose variant of it is meant, if not all."""


def _content_of(placement: Placement) -> Content:
    return placement.settings.content_digest, placement.settings.variant_id


def _line(
    held: Placement,
    versions: Mapping[str, Version],
    translated: Mapping[Content, StationTranslation],
) -> RetranslationLine:
    if not held.locks:
        by_hand = slot_fact(SlotReason.SET_BY_HAND)
        return RetranslationLine(held.slot, held, Outcome.LEAVE, facts=(by_hand,))
    version = versions.get(held.settings.content_digest)
    if version is None:
        unknown = slot_fact(SlotReason.NO_VERSION)
        return RetranslationLine(held.slot, held, Outcome.REFUSE, facts=(unknown,))
    new = translated[_content_of(held)]
    if new.refused:
        return RetranslationLine(held.slot, held, Outcome.REFUSE, version, new, new.refused)
    outcome = Outcome.SAME if new.values == held.settings.values else Outcome.PLACE
    return RetranslationLine(held.slot, held, outcome, version, new, new.flagged)


def _line_on_permit(
    held: Placement,
    beneath: tuple[Placement, datetime] | None,
    versions: Mapping[str, Version],
    translated: Mapping[Content, StationTranslation],
) -> RetranslationLine:
    """The permit's own settings are signed as they are; what it falls back to is translated."""
    permit = held.basis_id
    on = slot_fact(SlotReason.ON_PERMIT, permit=permit)
    if beneath is None:
        return RetranslationLine(held.slot, held, Outcome.LEAVE, facts=(on,))
    line, until = _line(beneath[0], versions, translated), beneath[1]
    line = replace(line, held=held, slot=held.slot, beneath=beneath[0], until=until)
    if line.outcome is Outcome.PLACE:
        return replace(line, outcome=Outcome.FALL_BACK, facts=(on, *line.facts))
    if line.outcome is Outcome.REFUSE:
        refused = slot_fact(SlotReason.ON_PERMIT_REFUSED, permit=permit)
        return replace(line, facts=(refused, *line.facts))
    same = slot_fact(SlotReason.ON_PERMIT_SAME, permit=permit)
    return replace(line, outcome=Outcome.LEAVE, facts=(same, *line.facts))
