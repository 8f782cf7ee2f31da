"""Walking an index of the history backwards from a key.

Rows are compared, not columns: `(action, id) <= ('x', 9)` ordered by (action, id) can be answered
by one range of that index alone. With `action = 'x' ORDER BY id` the planner may walk all newer
entries instead, if it believes the action to be common among them, and be wrong.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Self
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import BooleanField, Q, QuerySet
from django.db.models.expressions import RawSQL

from audit.capture.devices import BEGINS, PATTERN
from audit.capture.models import DEVICE, Entry
from audit.capture.partitions import bounds

LAST = 2**63 - 1  # the largest id there can be

DEVICE_SQL = f"substring(request_id, '{PATTERN}')"  # as audit.capture.models.DEVICE writes it

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
        row: tuple[int | None, ...] = cursor.fetchone()
    return row


@dataclass(frozen=True, slots=True)
class Range:
    """Ids from first to last, both included."""

    first: int
    last: int

    @classmethod
    def of(cls, days: Bounds, *, before: int | None, after: int | None) -> Self:
        """What is left of the days on the far side of a page's key."""
        last = days.last if before is None else min(days.last, before - 1)
        first = days.first if after is None else max(days.first, after + 1)
        return cls(first, last)

    @property
    def partitions(self) -> dict[str, int]:
        """As a filter that rules out partitions and nothing else. By the ids themselves the
        planner would be tempted to walk those."""
        known = bounds()
        first, stop = bisect_right(known, self.first), bisect_right(known, self.last)
        begin = {"id__gte": known[first - 1]} if first else {}
        return begin | ({"id__lt": known[stop]} if stop < len(known) else {})

    def up_to(self, end: int, *, newest: bool) -> "Range":
        """What of it a walk reaches as far as an id, that included."""
        return Range(end, self.last) if newest else Range(self.first, end)

    def pieces(self, *, newest: bool) -> "list[Range]":
        """In the order of the walk, the newest partition apart: most pages end within it, and
        the others' indexes are neither planned for nor opened."""
        begins = bounds()[-1] if bounds() else 0
        if not self.first < begins <= self.last:
            return [self]
        parts = [Range(begins, self.last), Range(self.first, begins - 1)]
        return parts if newest else parts[::-1]


def walk(
    entries: QuerySet[Entry],
    columns: Sequence[str],
    values: Sequence[object],
    ids: Range,
    *,
    newest: bool,
) -> QuerySet[Entry]:
    """Entries whose `columns` have these values, in the order of the index (columns, id)."""
    if "parameter" in columns:
        entries = entries.filter(parameter__isnull=False)  # its index is partial
    if "operation" in columns:
        entries = entries.filter(operation="refused")  # so is this one's
    if DEVICE_SQL in columns:
        entries = entries.filter(request_id__startswith=BEGINS).alias(at_device=DEVICE)  # and this
    between = _between(entries, columns, ["%s"] * len(values), values, ids)
    ordered = ["at_device" if column == DEVICE_SQL else column for column in columns]
    return between.order_by(*_order([*ordered, "id"], newest=newest))


def farthest(
    walks: Sequence[tuple[Sequence[str], Sequence[object]]], ids: Range, steps: int, *, newest: bool
) -> tuple[int, int | None]:
    """Which of these walks (columns and their values) gets farthest in so many steps, and to which
    id; None if it comes to its end. By the indexes alone: no entry is read."""
    every = [
        walk(Entry.objects.all(), columns, values, ids, newest=newest).values_list("id", flat=True)
        for columns, values in walks
    ]
    asked = [each[steps : steps + 1].query.sql_with_params() for each in every]
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {', '.join(f'({sql})' for sql, _ in asked)}",
            [value for _, values in asked for value in values],
        )
        reached: tuple[int | None, ...] = cursor.fetchone()
    if None in reached:
        return reached.index(None), None
    ends = [end for end in reached if end is not None]
    end = min(ends) if newest else max(ends)
    return ends.index(end), end


def _between(
    entries: QuerySet[Entry],
    columns: Sequence[str],
    places: Sequence[str],
    values: Sequence[object],
    ids: Range,
) -> QuerySet[Entry]:
    entries = entries.filter(**ids.partitions)
    row, place = ", ".join([*columns, "id"]), ", ".join([*places, "%s"])
    return entries.filter(
        holds(f"({row}) >= ({place})", [*values, ids.first]),
        holds(f"({row}) <= ({place})", [*values, ids.last]),
    )


def _order(columns: Sequence[str], *, newest: bool) -> list[str]:
    return [f"-{column}" if newest else column for column in columns]


def holds(sql: str, values: Sequence[object]) -> RawSQL:
    """A condition in SQL of our own, for a filter."""
    return RawSQL(sql, values, output_field=BooleanField())  # noqa: S611  no input in the text


def by_sites(
    entries: QuerySet[Entry], sites: Iterable[int], ids: Range, *, limit: int, newest: bool
) -> list[Entry]:
    """The first `limit` of those at these sites or at none, as one merge of short walks.

    One condition over all sites could not be answered in order of id by any index.
    """
    order_by = _order(["site_id", "id"], newest=newest)
    here = _between(entries, ["site_id"], ["scope.site"], [], ids)
    nowhere = _between(entries.filter(site_id__isnull=True), [], [], [], ids)
    here_sql, here_values = here.order_by(*order_by)[:limit].query.sql_with_params()
    nowhere_sql, nowhere_values = nowhere.order_by(*order_by)[:limit].query.sql_with_params()
    order = "DESC" if newest else "ASC"
    sql = (
        f"SELECT e.* FROM unnest(%s::bigint[]) AS scope(site) "  # noqa: S608  our own SQL
        f"CROSS JOIN LATERAL ({here_sql}) e UNION ALL ({nowhere_sql}) ORDER BY id {order} LIMIT %s"
    )
    return list(Entry.objects.raw(sql, [sorted(sites), *here_values, *nowhere_values, limit]))
