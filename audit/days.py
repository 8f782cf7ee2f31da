"""From days on a site's calendar to the ids written on them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import Q, QuerySet

from audit.models import Entry

LAST = 2**63 - 1  # the largest id there can be

# Ids are drawn a moment before the clock is read, so neighbours in time may be swapped in id.
# An hour is far more than a stalled process could swap; only within it `at` is looked at.
SLACK = timedelta(hours=1)

FIRST_FROM = "(SELECT id FROM audit_entry WHERE at >= %s ORDER BY at LIMIT 1)"
LAST_BEFORE = "(SELECT id FROM audit_entry WHERE at < %s ORDER BY at DESC LIMIT 1)"


@dataclass(frozen=True, slots=True)
class Edge:
    """Where a range of time begins or ends: no id beyond `outer` is in it, all from `inner` are."""

    outer: int
    inner: int
    moment: datetime


@dataclass(frozen=True, slots=True)
class Bounds:
    """A range of time as ranges of ids; None is open."""

    begin: Edge | None = None
    end: Edge | None = None

    @property
    def first(self) -> int:
        """The smallest id that can be within."""
        return self.begin.outer if self.begin else 0

    @property
    def last(self) -> int:
        """The largest id that can be within."""
        return self.end.outer if self.end else LAST

    def exactly(self, entries: QuerySet[Entry]) -> QuerySet[Entry]:
        """Those within the moments themselves (the last is excluded)."""
        if self.begin:
            entries = entries.filter(Q(id__gte=self.begin.inner) | Q(at__gte=self.begin.moment))
        if self.end:
            entries = entries.filter(Q(id__lte=self.end.inner) | Q(at__lt=self.end.moment))
        return entries


def start_of(day: date, zone: str) -> datetime:
    """The first moment of a day there, also where clocks change at midnight."""
    return datetime.combine(day, time(), ZoneInfo(zone))


def bounds_of(since: date | None, until: date | None, zone: str) -> Bounds:
    """Bounds of whole days in a zone (IANA name), both included; two index probes each."""
    begin = start_of(since, zone) if since else None
    end = start_of(until + timedelta(days=1), zone) if until and until < date.max else None
    return Bounds(
        _edge(FIRST_FROM, begin, -SLACK, LAST) if begin else None,
        _edge(LAST_BEFORE, end, SLACK, 0) if end else None,
    )


def _edge(probe: str, moment: datetime, outwards: timedelta, nothing: int) -> Edge:
    outer, inner = _ids(probe, [moment + outwards, moment - outwards])
    return Edge(nothing if outer is None else outer, nothing if inner is None else inner, moment)


def _ids(probe: str, moments: Sequence[datetime]) -> Sequence[int | None]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {', '.join([probe] * len(moments))}", moments)
        found: tuple[int | None, ...] = cursor.fetchone()
    return found
