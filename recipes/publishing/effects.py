"""What a publication does to the slots of named sites: what changes there, and how far it is."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.db.models import Q

from recipes.planning.plan import PUBLICATION
from recipes.publishing.models import Publication, PublicationSite
from stations.machine_types.catalogue import Printed, by_code
from stations.slots.models import Placement, ReadBack
from stations.slots.signed import withhold
from web.newest import newest_of_each

# Translated anew before its moment, so that it was never in the slot: another stands for it.
GAVE_WAY = Q(state=Placement.State.CANCELLED, superseded_by__isnull=False)
SHOWN = 60  # slots; more are only counted by site


@dataclass(frozen=True, slots=True)
class Change:
    """One setting as it is in the slot before, and under the publication; empty: none."""

    label: str
    unit: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Effect:
    """One slot: what changes there, and its state as a mark (web.icons)."""

    placement: Placement
    before: Placement | None
    changes: list[Change]
    read: ReadBack | None = None  # the last one, and with it who

    @property
    def mark(self) -> str:
        """Scheduled, to load, loaded (it matches), differing; or no longer in force."""
        placement = self.placement
        if placement.problem:
            return "not_as_signed"
        if placement.state == Placement.State.IN_FORCE:
            return "to_load" if placement.verdict == "unread" else placement.verdict
        return placement.state


def first_sites(parts: Iterable[PublicationSite]) -> list[int]:
    """The sites (ids), in reading order, whose slots are as many as are shown and one more.

    Of a chain of bars nobody reads the rest, and the database need not sort it.
    """
    found, slots = list[int](), 0
    for part in sorted(parts, key=lambda part: (part.site.name, part.site_id)):
        if slots > SHOWN:
            break
        found.append(part.site_id)
        slots += part.slots
    return found


def effects_on(publication: Publication, sites: Collection[int]) -> tuple[list[Effect], bool]:
    """The slots it reaches at these sites, in reading order; whether there are more."""
    rows = Placement.objects.filter(
        basis=PUBLICATION.basis, basis_id=publication.pk, site__in=sites
    ).exclude(GAVE_WAY)
    found = list(rows.with_place()[: SHOWN + 1])
    shown = found[:SHOWN]
    before = _before(shown)
    withhold([*shown, *before.values()])
    read = _read(shown)
    effects = [_effect(each, before.get(each.slot_id), read.get(each.pk)) for each in shown]
    return effects, len(found) > SHOWN


def _before(placements: Iterable[Placement]) -> dict[int, Placement]:
    """By slot what is in force until it begins, or what it took the place of."""
    waiting = [each.slot_id for each in placements if each.started_at is None]
    begun = [each for each in placements if each.started_at is not None]
    rows = Placement.objects.filter(
        Q(slot__in=waiting, state=Placement.State.IN_FORCE)
        | Q(slot__in=[each.slot_id for each in begun], superseded_by__in=begun)
        & ~Q(state=Placement.State.CANCELLED)
    )
    rows = rows.select_related("settings", "signature", "slot").order_by("pk")
    return {row.slot_id: row for row in rows}


def _read(placements: Iterable[Placement]) -> dict[int, ReadBack]:
    """By placement what was read back last."""
    among = Placement.objects.filter(pk__in=[each.pk for each in placements])
    newest = newest_of_each(ReadBack.objects.select_related("by", "gateway"), "placement", among)
    return {row.placement_id: row for row in newest}


def _effect(placement: Placement, before: Placement | None, read: ReadBack | None = None) -> Effect:
    after = by_code(placement.settings.values)
    was = by_code(before.settings.values) if before else {}
    told = not placement.problem and not (before and before.problem)
    codes = list(dict.fromkeys([*after, *was])) if told else []
    changes = [
        _change(was.get(code), after.get(code))
        for code in codes
        if was.get(code) != after.get(code)
    ]
    return Effect(placement, before, changes, read)


def _change(before: Printed | None, after: Printed | None) -> Change:
    known = after or before
    assert known is not None, "one of the two says something"
    return Change(
        known.label, known.unit, before.value if before else "", after.value if after else ""
    )
