"""What a permit would make its slots hold, before anybody signs."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

import rfc8785
from django.utils import timezone

from audit.errors import Invalid, Refused
from people.models import User
from people.permissions import require
from people.verbs import Verb
from recipes.holding import versions_of
from recipes.models import Version
from recipes.permits.bending import bent
from recipes.translating import StationTranslation, quantities, with_changes
from stations.models import Placement, Site, Slot
from stations.overview import boiling_point

Changes = Mapping[str, Decimal | str]
LONGEST = timedelta(days=92)


@dataclass(frozen=True)
class PermitLine:
    """One slot: what it holds, what it would hold under the permit, and what ends that early."""

    slot: Slot
    held: Placement | None
    version: Version | None
    station: StationTranslation | None
    reasons: tuple[str, ...]
    waiting: Placement | None = None


@dataclass(frozen=True)
class PermitPlan:
    """Every named slot with its settings under the permit, or why it can't have one."""

    changes: Changes
    ends_at: datetime
    lines: list[PermitLine]

    @cached_property
    def refused(self) -> list[PermitLine]:
        """Slots for which the permit can't be granted."""
        return [line for line in self.lines if line.reasons]

    @cached_property
    def to_acknowledge(self) -> list[str]:
        """Flags that a named person must accept, such as a temperature above boiling."""
        found = {
            f"{line.slot.station.machine.site}: {sentence}"
            for line in self.lines
            if line.station
            for sentence in line.station.to_acknowledge
        }
        return sorted(found)

    @cached_property
    def boiling(self) -> list[tuple[Site, Decimal, Decimal | None]]:
        """Each site, where water boils there [°C], and how far below the permit brews [K].

        The hottest temperature counts; None where nothing states one.
        """
        warm = self.changes.get("brew_temperature")
        found: dict[Site, list[Decimal]] = {}
        for line in self.lines:
            rows = line.version.formula.all() if line.version else ()
            stated = [each.target for each in rows if each.code == "brew_temperature"]
            given = [warm] if isinstance(warm, Decimal) else [t for t in stated if t is not None]
            found.setdefault(line.slot.station.machine.site, []).extend(given)
        points = {site: boiling_point(site) for site in found}
        return [
            (site, points[site], points[site] - max(wanted) if wanted else None)
            for site, wanted in found.items()
        ]

    @cached_property
    def seen(self) -> bytes:
        """The RFC 8785 bytes of everything a signer sees in the plan."""
        content: dict[str, Any] = {
            "changes": {code: str(value) for code, value in self.changes.items()},
            "ends_at": self.ends_at.isoformat(),
            "slots": [
                [
                    line.slot.pk,
                    line.held.pk if line.held else None,
                    line.station.values if line.station else None,
                    list(line.reasons),
                    line.waiting.pk if line.waiting else None,
                ]
                for line in self.lines
            ],
        }
        return rfc8785.dumps(content)

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hex) over it."""
        return hashlib.sha256(self.seen).hexdigest()


def make_permit_plan(
    *, slots: Sequence[int], changes: Changes, ends_at: datetime, by: User
) -> PermitPlan:
    """Work out a permit without writing anything.

    Raises NotPermitted, and Invalid (slots out of reach or none, no changes, the end).
    """
    require(by, Verb.PERMIT_GRANT)
    check_end(ends_at)
    if not changes:
        raise Invalid("changes", "", "at least one parameter with its value under the permit")
    found = list(
        Slot.objects.covered_by(by, Verb.PERMIT_GRANT).with_equipment().filter(pk__in=slots)
    )
    if not found or len(found) != len(set(slots)):
        raise Invalid("slots", list(slots), "one or more slots at sites your role covers")
    held, waiting = _held(found), _waiting(found)
    versions = versions_of(held.values())
    lines = []
    for version in [*versions.values(), None]:
        lines.extend(_lines_of(version, found, held, changes))
    lines = [_before(line, waiting.get(line.slot.pk)) for line in lines]
    order = {slot.pk: place for place, slot in enumerate(found)}
    return PermitPlan(changes, ends_at, sorted(lines, key=lambda line: order[line.slot.pk]))


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
    publication = Placement.Basis.PUBLICATION
    rows = Placement.objects.filter(slot__in=slots, state="scheduled", basis=publication)
    return {placement.slot_id: placement for placement in rows}


def _before(line: PermitLine, waiting: Placement | None) -> PermitLine:
    """The line with what waits for its slot; a permit that would end at once is refused."""
    reasons = line.reasons
    if waiting and waiting.due_at <= timezone.now():
        reasons = (
            *reasons,
            f"publication {waiting.basis_id} is about to take over this slot;"
            " let it finish, or stop and cancel it",
        )
    return replace(line, waiting=waiting, reasons=reasons)


def _lines_of(
    version: Version | None,
    slots: Sequence[Slot],
    held: Mapping[int, Placement],
    changes: Changes,
) -> list[PermitLine]:
    """The lines of the slots that hold this version (None: nothing a permit could change)."""
    digest = version.content_digest if version else ""
    mine = [slot for slot in slots if _digest_at(held.get(slot.pk)) == digest]
    if version is None:
        return [
            PermitLine(slot, held.get(slot.pk), None, None, (_why_not(held.get(slot.pk)),))
            for slot in mine
        ]
    formula = with_changes(quantities(version.formula.all()), changes)
    return [
        PermitLine(slot, held[slot.pk], version, station, station.refusals)
        for slot, station in bent(formula, changes, [(slot, held[slot.pk]) for slot in mine])
    ]


def _digest_at(placement: Placement | None) -> str:
    """The digest of the approved content a permit may bend; empty where there is none."""
    if placement is None or placement.basis == Placement.Basis.PERMIT:
        return ""
    return placement.settings.content_digest


def _why_not(placement: Placement | None) -> str:
    if placement is None:
        return "nothing is in force at this slot, so there is nothing to differ from"
    if placement.basis == Placement.Basis.PERMIT:
        return f"permit {placement.basis_id} is in force at this slot already"
    return "this slot is set by hand and not locked; it needs no permit"


def refuse_unless_whole(plan: PermitPlan) -> None:
    """Raise Refused, with the first reason, unless every named slot can have the permit."""
    if plan.refused:
        line = plan.refused[0]
        raise Refused(f"{line.slot}: {line.reasons[0]}")
