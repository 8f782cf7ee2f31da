"""What a permit would make its slots hold, before anybody signs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.utils import timezone

from audit.errors import Invalid, Refused
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from people.policy.models import Policy
from recipes.formula.formula import Formula
from recipes.permits.translating import translate_permitted
from recipes.planning.facts import SlotFact, SlotReason, slot_fact
from recipes.planning.plan import PERMIT, PUBLICATION, Outcome, Plan, SlotLine
from recipes.versions.holding import versions_of
from recipes.versions.models import Version
from stations.equipment.models import Site, Slot
from stations.metrology.formula import TEMPERATURE
from stations.slots.bases import say_waiting
from stations.slots.models import Placement

Changes = Mapping[str, Decimal | str]
LONGEST = timedelta(days=92)


@dataclass(frozen=True, slots=True)
class PermitLine(SlotLine[Slot, Placement]):
    """One slot under the permit, and the publication's placement that ends it early, if any."""

    waiting: Placement | None = None

    @property
    def variant(self) -> int | None:
        """The machine type (id) whose variant it holds and keeps; None for the whole formula."""
        return self.translation.variant if self.translation else None


@dataclass(frozen=True, kw_only=True)
class PermitPlan(Plan[PermitLine]):
    """Every named slot with its settings under the permit, or why it can't have one."""

    kind = PERMIT
    changes: Changes
    ends_at: datetime

    @property
    def site_names(self) -> dict[int, str]:
        """The sites of its slots, by id."""
        sites = {line.slot.station.machine.site for line in self.lines}
        return {site.pk: str(site) for site in sites}

    def hindrance(self) -> Refused | None:
        """Every named slot can have the permit, or nobody grants it."""
        if not self.refused:
            return None
        first = self.refused[0]
        return Refused(f"{first.slot}: {first.reasons[0]}")

    @cached_property
    def boiling(self) -> list[tuple[Site, Decimal, Decimal | None]]:
        """Each site, where water boils there [°C], and how far below the permit brews [K].

        The hottest temperature counts; None where nothing states one.
        """
        warm = self.changes.get(TEMPERATURE)
        temperatures: dict[Site, list[Decimal]] = {}
        for line in self.lines:
            stated = line.version.stated_for(line.variant) if line.version else Formula()
            brews = warm if isinstance(warm, Decimal) else stated.target(TEMPERATURE)
            given = [] if brews is None else [brews]
            temperatures.setdefault(line.slot.station.machine.site, []).extend(given)
        points = {site: site.boiling_point for site in temperatures}
        return [
            (site, points[site], points[site] - max(wanted) if wanted else None)
            for site, wanted in temperatures.items()
        ]

    def content(self) -> dict[str, Any]:
        """The changes, the end, and slot by slot what is held and what would be."""
        return {
            "changes": {code: str(value) for code, value in self.changes.items()},
            "ends_at": self.ends_at.isoformat(),
            "slots": [
                [
                    line.slot.pk,
                    line.held.pk if line.held else None,
                    line.translation.values if line.translation else None,
                    [fact.as_json() for fact in line.facts],
                    line.waiting.pk if line.waiting else None,
                    *([line.variant] if line.variant else []),
                ]
                for line in self.lines
            ],
        }


def make_permit_plan(
    *, by: User, slots: Sequence[int], changes: Changes, ends_at: datetime
) -> PermitPlan:
    """Work out a permit without writing anything.

    Raises NotPermitted, and Invalid (slots out of reach or none, no changes, the end).
    """
    require(by, Verb.PERMIT_GRANT)
    check_end(ends_at)
    if not changes:
        raise Invalid("changes", "", "at least one parameter with its value under the permit")
    chosen = list(
        Slot.objects.covered_by(by, Verb.PERMIT_GRANT).with_equipment().filter(pk__in=slots)
    )
    if not chosen or len(chosen) != len(set(slots)):
        raise Invalid("slots", list(slots), "one or more slots at sites your role covers")
    placements, waiting = _held(chosen), _waiting(chosen)
    refuse = Policy.current().refuses_above_boiling
    lines = []
    for (version, variant), mine in _by_content(chosen, placements).items():
        lines.extend(_lines_of((version, variant), mine, placements, changes, refuse))
    lines = [_before(line, waiting.get(line.slot.pk)) for line in lines]
    order = {slot.pk: place for place, slot in enumerate(chosen)}
    return PermitPlan(
        lines=sorted(lines, key=lambda line: order[line.slot.pk]), changes=changes, ends_at=ends_at
    )


def check_end(ends_at: datetime) -> None:
    """Raise Invalid for an end that is past, or too far away for something that is to pass."""
    now = timezone.now()
    if not now < ends_at <= now + LONGEST:
        allowed = f"a moment within the next {LONGEST.days} days"
        raise Invalid("ends_at", ends_at.isoformat(), allowed)


def _held(slots: Sequence[Slot]) -> dict[int, Placement]:
    placements = Placement.objects.in_force().filter(slot__in=slots).select_related("settings")
    return {placement.slot_id: placement for placement in placements}


def _waiting(slots: Sequence[Slot]) -> dict[int, Placement]:
    """The publication's placement that will take over from whatever a slot holds."""
    rows = list(
        Placement.objects.filter(slot__in=slots, state="scheduled", basis=PUBLICATION.basis)
    )
    say_waiting(rows)
    return {placement.slot_id: placement for placement in rows}


def _before(line: PermitLine, waiting: Placement | None) -> PermitLine:
    """The line with what waits for its slot; a permit that would end at once is refused."""
    if waiting is None or waiting.waits_for or waiting.due_at > timezone.now():
        return replace(line, waiting=waiting)
    due = slot_fact(SlotReason.PUBLICATION_DUE, publication=waiting.basis_id)
    return replace(line, waiting=waiting, outcome=Outcome.REFUSE, facts=(*line.facts, due))


def _lines_of(
    content: "Content",
    slots: Sequence[Slot],
    placements: Mapping[int, Placement],
    changes: Changes,
    refuse_above_boiling: bool,
) -> list[PermitLine]:
    """The lines of slots that hold this content (no version: nothing a permit could change).

    Whole, or the variant for a machine type (id): a permit changes nothing it does not name.
    """
    version, variant = content
    if version is None:
        return [_without(slot, placements.get(slot.pk)) for slot in slots]
    formula = version.stated_for(variant).deviating(changes)
    pairs = [(slot, placements[slot.pk]) for slot in slots]
    return [
        PermitLine(
            slot, placements[slot.pk], Outcome.REFUSE if station.refused else Outcome.PLACE,
            version, station, station.refused,
        )
        for slot, station in translate_permitted(
            formula, changes, pairs, variant, refuse_above_boiling=refuse_above_boiling
        )
    ]  # fmt: skip


def _without(slot: Slot, placement: Placement | None) -> PermitLine:
    return PermitLine(slot, placement, Outcome.REFUSE, facts=(_why_not(placement),))


Content = tuple[Version | None, int | None]
"""A version, and the machine type (id) whose variant of it is meant, if not the whole."""


def _by_content(
    slots: Sequence[Slot], placements: Mapping[int, Placement]
) -> dict[Content, list[Slot]]:
    """The slots by the approved content that a permit may bend; None where there is none."""
    versions = versions_of(placements.values())
    found: dict[Content, list[Slot]] = {}
    for slot in slots:
        held = placements.get(slot.pk)
        bent = held if held and held.basis != PERMIT.basis else None
        version = versions.get(bent.settings.content_digest) if bent else None
        variant = bent.settings.variant_id if bent and version else None
        found.setdefault((version, variant), []).append(slot)
    return found


def _why_not(placement: Placement | None) -> SlotFact:
    if placement is None:
        return slot_fact(SlotReason.NOTHING_HELD)
    if placement.basis == PERMIT.basis:
        return slot_fact(SlotReason.PERMIT_IN_FORCE, permit=placement.basis_id)
    return slot_fact(SlotReason.NOT_LOCKED)
