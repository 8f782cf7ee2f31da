"""What slots should have held at a moment that has passed, and how their read-backs stood then.

By the placements' and read-backs' own times. What stepped in for a time lies above what it set
aside. A placement and what took over from it have two times a little apart, of one statement: the
slot held the one until it held the other.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any

from django.db.models import (
    Case,
    CharField,
    DateTimeField,
    Exists,
    F,
    OuterRef,
    Q,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce
from django.db.models.lookups import GreaterThan

from stations.slots.models import Placement, ReadBack

ONE_STATEMENT = timedelta(minutes=10)  # longer than any that takes over
BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)
Rows = Any  # querysets of placements, annotated or not: no type says both


@dataclass(frozen=True)
class Moment:
    """A moment that has passed: one instant, or by the clock of each site (by its time zone)."""

    instant: datetime
    by_zone: Mapping[str, datetime] = field(default_factory=dict)

    def at(self, zone: str) -> datetime:
        """The instant at a site with that time zone."""
        return self.by_zone.get(zone, self.instant)

    @cached_property
    def instants(self) -> set[datetime]:
        """Every instant it stands for."""
        return set(self.by_zone.values()) or {self.instant}

    def of(self, site: str) -> Value | Case:
        """The same for a query, in which ``site`` leads to the site."""
        one, *others = self.instants
        if not others:
            return Value(one, output_field=DateTimeField())
        cases = [
            When(**{f"{site}__time_zone": zone}, then=Value(at))
            for zone, at in self.by_zone.items()
        ]
        return Case(*cases, default=Value(self.instant), output_field=DateTimeField())


def held(moment: Moment | None, placements: Rows = None) -> Rows:
    """Of these placements (all, where none are given), those that were in force then; None: now."""
    rows = Placement.objects.all() if placements is None else placements
    if moment is None:
        return rows.in_force()
    return _begun(rows, moment).filter(Q(manner="steps_in") | ~Exists(_above(moment)))


def _above(moment: Moment) -> Rows:
    """What had stepped in by then, over a placement of the same slot."""
    stepped_in = Placement.objects.filter(slot=OuterRef("slot"), manner="steps_in")
    return _begun(stepped_in, moment)


def _begun(rows: Rows, moment: Moment) -> Rows:
    """In force by then, or set aside, and not ended yet."""
    at = moment.of("site")
    going_on = Q(ended_at=None) | Q(ended_at__gt=at)
    lately = min(moment.instants) - ONE_STATEMENT
    roughly = Q(ended_at=None) | Q(ended_at__gt=lately)  # an index knows this much
    # Looked up only for what ended lately: joined, it would be looked up for everything.
    over = Placement.objects.filter(pk=OuterRef("superseded_by")).values("started_at")
    handing_over = GreaterThan(Subquery(over), at)
    begun = rows.exclude(state="cancelled").filter(started_at__lte=at)
    return begun.filter(roughly, going_on | handing_over)


def other_since(rows: Rows, moment: Moment) -> Rows:
    """Of placements held later, those that their slot did not hold at that moment."""
    later = Q(started_at__gt=moment.of("site"))
    return rows.filter(later | ~Q(manner="steps_in") & Exists(_above(moment)))


def with_read(rows: Rows, moment: Moment | None) -> Rows:
    """Placements that were held then, annotated with ``read``: how their read-backs stood then."""
    read = F("verdict") if moment is None else Coalesce(_read_by(moment), Value("unread"))
    return rows.annotate(read=read)


def condition_of(placement: Placement | None, read: str) -> str:
    """As ``SlotQuerySet.with_condition`` says it, of what a slot held and how that was read."""
    if placement is None:
        return "empty"
    if read == "differs":
        return "differs"
    other = {"steps_in": "on_permit", "by_hand": "by_hand"}.get(placement.manner)
    return other or ("to_load" if read == "unread" else "matches")


# The same for a query, of placements ``with_read``; what differs is nothing else beside.
IN_CONDITION = {
    "differs": Q(read="differs"),
    "on_permit": Q(manner="steps_in") & ~Q(read="differs"),
    "by_hand": Q(manner="by_hand") & ~Q(read="differs"),
    "to_load": ~Q(manner__in=["steps_in", "by_hand"]) & Q(read="unread"),
    "matches": ~Q(manner__in=["steps_in", "by_hand"]) & Q(read="matches"),
}


def in_condition(rows: Rows, condition: str, moment: Moment | None) -> Rows:
    """Of placements held then, those in that condition; of a moment that has passed, the newest
    read-back is looked for only where nothing simpler decides."""
    rows = with_read(rows, moment)
    if moment and condition == "differs":  # few ever did
        read = ReadBack.objects.filter(verdict="differs", at__lte=max(moment.instants))
        rows = rows.filter(pk__in=read.values("placement"))
    if moment and condition == "to_load":
        told = _told_by(moment).filter(placement=OuterRef("pk"))
        back = _given_back(moment).exclude(superseded_by=None).values("superseded_by")
        unread = ~Exists(told) | Q(pk__in=back) & Q(read="unread")
        return rows.exclude(manner__in=["steps_in", "by_hand"]).filter(unread)
    return rows.filter(IN_CONDITION[condition])


def _told_by(moment: Moment) -> Any:  # noqa: ANN401
    """Read-backs by then that told how a slot stood."""
    return ReadBack.objects.filter(at__lte=moment.of("placement__site")).exclude(verdict="unread")


def _given_back(moment: Moment) -> Any:  # noqa: ANN401
    """What had stepped in, and had given its slot back by then."""
    return Placement.objects.filter(
        manner="steps_in", state="ended", ended_at__lte=moment.of("site")
    )


def _read_by(moment: Moment) -> Subquery:
    """The newest verdict by then; what was read before a permit's end says nothing after it."""
    back = _given_back(moment).filter(
        slot=OuterRef("slot"), superseded_by=OuterRef("placement")
    ).order_by("-ended_at")  # fmt: skip
    given_back = Coalesce(Subquery(back.values("ended_at")[:1]), Value(BEGINNING))
    told = _told_by(moment).filter(placement=OuterRef("pk"), at__gt=given_back)
    newest = told.order_by("-at", "-pk").values("verdict")[:1]
    return Subquery(newest, output_field=CharField())
