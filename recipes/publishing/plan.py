"""What publishing would do, slot by slot, before anybody signs."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any, NamedTuple

from django.db.models.expressions import RawSQL

from audit.errors import Refused
from people.persons.models import User
from people.persons.permissions import may_everywhere, require
from people.persons.verbs import Verb
from people.policy.models import Policy
from recipes.planning.facts import Fact, SlotReason, slot_fact
from recipes.planning.plan import PERMIT, PUBLICATION, Outcome, Plan, SlotLine
from recipes.planning.several import seen_of_station, slots_digest
from recipes.publishing.opening import dues, must_be_of
from recipes.publishing.scope import Scope
from recipes.publishing.timing import Due, When
from recipes.translation.translating import StationTranslation, Values, translate_version
from recipes.versions.models import Version
from stations.equipment.models import Site, Slot, Station
from stations.equipment.querysets import SlotQuerySet
from stations.slots.models import ControlSettings, Placement

AtStation = tuple[int, int | None, Values]


class SlotAt(NamedTuple):
    """One slot in scope and where it is."""

    pk: int
    number: int
    station_id: int
    station_number: int
    machine: str
    site_id: int
    machine_id: int

    @property
    def place(self) -> str:
        """Machine, station and slot in words."""
        return f"{self.machine} · station {self.station_number} · slot {self.number}"


class Held(NamedTuple):
    """What a slot should hold now."""

    pk: int
    basis: str
    settings_id: int
    title: str
    content_digest: str
    permit_id: int | None


@dataclass(frozen=True, slots=True)
class PublicationLine(SlotLine[SlotAt, Held]):
    """One slot of a publication's plan."""


@dataclass(frozen=True, kw_only=True)
class SitesPlan(Plan[PublicationLine]):
    """What goes to which sites and when, with every refusal: of one version or of several."""

    kind = PUBLICATION
    when: When
    sites: dict[int, Site]
    due: dict[int, Due]
    learnt_until: datetime | None = None  # where stations get water of their own

    @property
    def site_names(self) -> dict[int, str]:
        """The sites in scope, by id."""
        return {pk: str(site) for pk, site in self.sites.items()}

    def hindrance(self) -> Refused | None:
        """A publication places at least one slot."""
        return None if self.to_place else Refused("Nothing in this plan can be placed.")

    def by_site(self) -> Iterator[tuple[Site, Due, list[PublicationLine]]]:
        """The lines site by site, in the sites' order."""
        for site_id, lines in groupby(self.lines, key=lambda line: line.slot.site_id):
            yield self.sites[site_id], self.due[site_id], list(lines)

    def moment(self) -> dict[str, Any]:
        """From when on, as codes and numbers."""
        return {
            "date": self.when.local_date.isoformat() if self.when.local_date else None,
            "time": self.when.local_time.isoformat() if self.when.local_time else None,
            # Whose clocks: a site entered in another zone meanwhile would begin at another moment.
            "zones": self._zones if self.when.local_date else {},
            # Named only where there is one: what was signed before keeps its digest.
            **({"lot": self.when.lot.pk} if self.when.lot else {}),
        }

    @property
    def _zones(self) -> dict[str, str]:
        return {str(pk): site.time_zone for pk, site in self.sites.items()}


@dataclass(frozen=True, kw_only=True)
class PublicationPlan(SitesPlan):
    """Which version goes where and when."""

    version: Version
    scope: Scope
    stations: dict[int, StationTranslation]
    everywhere: bool = True  # whether whoever plans it may publish at every site

    @property
    def scope_label(self) -> str:
        """The scope in words; "all sites" only from somebody who covers them all."""
        return self.scope.label(None if self.everywhere else self.sites.values())

    def content(self) -> dict[str, Any]:
        """Version, scope, moment and each station's settings; the slots as one hash."""
        return {
            "version": self.version.pk,
            "content": self.version.content_digest,
            "scope": self.scope.as_json(),
            **self.moment(),
            "stations": {str(pk): seen_of_station(each) for pk, each in self.stations.items()},
            "slots": slots_digest(self.lines),
        }


def make_plan(
    *,
    by: User,
    version: Version,
    scope: Scope,
    when: When,
    now: datetime,
    learnt_until: datetime | None = None,
) -> PublicationPlan:
    """Work out a publication without writing anything; a fixed number of queries.

    Where the formula leaves the water to the stations it is learnt from shots logged before
    ``learnt_until`` (now, unless a plan that was seen says otherwise: bars go on logging while
    somebody reads it). Raises NotPermitted, and Invalid for a moment out of reach, a lot of
    another coffee, or a slot number that is nowhere there.
    """
    require(by, Verb.PUBLICATION_PLAN)
    must_be_of(when.lot, version)
    scope.must_exist(by)
    places, slots = _in_scope(scope, by)
    sites = Site.objects.in_bulk({place.site_id for place in places})
    own_water = version.leaves_water
    until = (learnt_until or now) if own_water else None
    here = Station.objects.filter(pk__in=slots.values("station"))
    refuse = Policy.current().refuses_above_boiling
    stations = translate_version(version, here, refuse_above_boiling=refuse, learnt_until=until)
    return PublicationPlan(
        lines=lines_for(slots, [(each, version, stations[each.station_id]) for each in places]),
        version=version,
        scope=scope,
        when=when,
        sites=sites,
        due=dues(sites, when, now),
        stations=stations,
        learnt_until=until,
        everywhere=may_everywhere(by, Verb.PUBLICATION_SIGN),
    )


def places_of(slots: SlotQuerySet) -> list[SlotAt]:
    """The slots of a queryset and where they are, in reading order."""
    return [SlotAt(*row) for row in _slot_rows(slots)]


def _in_scope(scope: Scope, by: User) -> tuple[list[SlotAt], SlotQuerySet]:
    """The slots in scope, and how to ask about them."""
    slots = scope.slots(by)
    places = places_of(slots)
    if scope.holds is not None:
        # Which slots those are changes by the minute; all that follows is about the same ones.
        ids = RawSQL("SELECT unnest(%s::bigint[])", [[place.pk for place in places]])
        slots = Slot.objects.filter(pk__in=ids)
    return places, slots


def _slot_rows(slots: SlotQuerySet) -> Iterator[tuple[int, int, int, int, str, int, int]]:
    ordered = slots.order_by(
        "station__machine__site__name",
        "station__machine__site_id",
        "station__machine__name",
        "station__number",
        "number",
    )
    rows: Iterator[tuple[int, int, int, int, str, int, int]] = ordered.values_list(
        "pk",
        "number",
        "station_id",
        "station__number",
        "station__machine__name",
        "station__machine__site_id",
        "station__machine_id",
    ).iterator(chunk_size=10_000)
    return rows


def _held(slots: SlotQuerySet) -> dict[int, Held]:
    rows = (
        Placement.objects.in_force()
        .filter(slot__in=slots.values("pk"))
        .values_list(
            "slot_id", "basis_id", "pk", "basis", "settings_id", "settings__title",
            "settings__content_digest",
        )
    )  # fmt: skip
    permit = PERMIT.basis
    return {
        row[0]: Held(row[2], row[3], row[4], row[5], row[6], row[1] if row[3] == permit else None)
        for row in rows
    }


def _waiting(slots: SlotQuerySet) -> dict[int, int]:
    """Slot to the publication that already waits for it."""
    rows = Placement.objects.filter(
        slot__in=slots.values("pk"), state="scheduled", basis=PUBLICATION.basis
    ).values_list("slot_id", "basis_id")
    return {slot_id: basis_id for slot_id, basis_id in rows if basis_id is not None}


Going = tuple[SlotAt, Version, StationTranslation]
"""A slot, the version that is to go there, and that version translated for its station."""


def lines_for(slots: SlotQuerySet, going: Sequence[Going]) -> list[PublicationLine]:
    """What signing does to each of these slots: three queries, whatever their number."""
    held = _held(slots)
    now = _Now(held, _waiting(slots), _settings_kept(held, going))
    return [_line(each, now) for each in going]


def _settings_kept(held: Mapping[int, Held], going: Sequence[Going]) -> dict[int, AtStation]:
    """The control settings in force (id) of slots that hold the very version that goes there."""
    candidates = {
        there.settings_id
        for place, version, _ in going
        if (there := held.get(place.pk)) and there.permit_id is None
        and there.content_digest == version.content_digest
    }  # fmt: skip
    rows: list[tuple[int, int, int | None, Values]] = list(
        ControlSettings.objects.filter(pk__in=candidates).values_list(
            "pk", "station_id", "variant_id", "values"
        )
    )
    return {row[0]: row[1:] for row in rows}


class _Now(NamedTuple):
    """How the slots stand now, by slot, and the settings in force that may stay as they are."""

    held: dict[int, Held]
    waiting: dict[int, int]
    kept: dict[int, AtStation]


def _line(going: Going, now: _Now) -> PublicationLine:
    place, version, station = going
    held = now.held.get(place.pk)
    facts: tuple[Fact, ...] = station.refused
    if place.pk in now.waiting:
        waits = slot_fact(SlotReason.PUBLICATION_WAITS, publication=now.waiting[place.pk])
        facts = (*facts, waits)
    if facts:
        return PublicationLine(place, held, Outcome.REFUSE, version, station, facts)
    kept = held and held.content_digest == version.content_digest and now.kept.get(held.settings_id)
    same = kept == (place.station_id, station.variant, station.values)
    return PublicationLine(place, held, Outcome.SAME if same else Outcome.PLACE, version, station)
