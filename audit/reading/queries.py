"""Questions to the history. Every one is answered by walking back along one index by id: of
several conditions along that of the one that leaves least, and so far and no further.

Pages are found by key and nothing is counted, so that the first and the thousandth page of
millions of entries cost the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Self

from django.db.models import Q, QuerySet

from audit.capture.models import Entry
from audit.reading.keyset import (
    DEVICE_SQL,
    Bounds,
    Range,
    bounds_of,
    by_sites,
    farthest,
    holds,
    walk,
)
from audit.registry import registry, types_of

PAGE = 50
UNBOUNDED = 2**31 - 1


@dataclass(frozen=True, slots=True)
class HistoryFilter:
    """What to look for; None is no condition. Days are whole days in `zone`, both included."""

    site: int | None = None
    subject_type: str | None = None
    subject_id: int | None = None
    actor: int | None = None
    action: str | None = None
    parameter: str | None = None
    operation: str | None = None  # only "refused" has an index
    device: str | None = None  # its number, as the request's id has it
    since: date | None = None
    until: date | None = None
    zone: str = "UTC"

    @property
    def carried(self) -> bool:
        """Whether what carries the parameter is looked for too, among others: at one site, or of
        one thing. Everywhere there is only what is about that parameter alone."""
        return self.parameter is not None and (self.site is not None or self.subject_id is not None)


@dataclass(frozen=True, slots=True)
class HistoryPage:
    """Entries, newest first, and the ids from which the neighbouring pages go on."""

    entries: Sequence[Entry]
    older_than: int | None  # None on the last page
    newer_than: int | None  # None on the first
    short: bool = False  # it ends where enough was looked through, full or not: see `page_of`

    @classmethod
    def of(cls, walked: list[Entry], size: int, before: int | None, after: int | None) -> Self:
        """From up to one entry more than the page holds, in the order they were walked."""
        more, entries = len(walked) > size, walked[:size]
        if not entries:  # the way back all the same
            return cls(entries, after + 1 if after else None, before - 1 if before else None)
        if after is not None:
            entries.reverse()
        ends = (entries[-1].id, entries[0].id)
        if after is not None:
            return cls(entries, ends[0], ends[1] if more else None)
        return cls(entries, ends[0] if more else None, ends[1] if before is not None else None)

    def ending(self, at: int, *, newest: bool) -> Self:
        """The same for a walk that looked no further than `at`."""
        if newest:
            return replace(self, older_than=at, short=True)
        return replace(self, newer_than=at, short=True)


def page_of(
    wanted: HistoryFilter,
    scope: frozenset[int] | None,
    *,
    before: int | None = None,
    after: int | None = None,
    size: int = PAGE,
    effort: int = UNBOUNDED,
    tables: frozenset[str] | None = None,
) -> HistoryPage:
    """One page: the newest, or those older than id `before`, or those newer than id `after`.

    `scope` holds the sites whose entries may be seen (None: all); entries without a site may be
    seen by everyone. `tables` are those of which they may be seen at all (None: all). A site
    outside the scope has no entries. `effort` bounds the entries looked through where several
    conditions seldom meet: the page is then short, maybe empty, and the next one goes on from
    there.
    """
    if wanted.site is not None and scope is not None and wanted.site not in scope:
        return HistoryPage([], None, None)
    bounds = bounds_of(wanted.since, wanted.until, wanted.zone)
    newest, walked, drivers = after is None, list[Entry](), _drivers(wanted)
    for ids in Range.of(bounds, before=before, after=after).pieces(newest=newest):
        limit = size + 1 - len(walked)
        driver, end = drivers[0], None
        if effort < UNBOUNDED and drivers[0] and (len(drivers) > 1 or wanted.carried):
            walks = [([EQUALITIES[n] for n in each], _values(wanted, each)[0]) for each in drivers]
            best, end = farthest(walks, ids, effort, newest=newest)
            driver = drivers[best]
        near = ids if end is None else ids.up_to(end, newest=newest)
        walked += _walked(wanted, scope, bounds, near, driver, limit=limit, newest=newest,
                          tables=tables)  # fmt: skip
        if len(walked) > size:
            break
        if end is not None:
            return HistoryPage.of(walked, size, before, after).ending(end, newest=newest)
    return HistoryPage.of(walked, size, before, after)


def _walked(
    wanted: HistoryFilter,
    scope: frozenset[int] | None,
    bounds: Bounds,
    ids: Range,
    driver: tuple[str, ...],
    *,
    limit: int,
    newest: bool,
    tables: frozenset[str] | None,
) -> list[Entry]:
    if scope is not None and not driver:
        entries = bounds.exactly(_of_tables(_others(wanted, ()), tables))
        return by_sites(entries, scope, ids, limit=limit, newest=newest)
    columns = [EQUALITIES[name] for name in driver]
    entries = _within(bounds.exactly(_of_tables(_others(wanted, driver), tables)), scope)
    found = [
        entry
        for values in _values(wanted, driver)
        for entry in walk(entries, columns, values, ids, newest=newest)[:limit]
    ]
    return sorted(found, key=lambda entry: entry.id, reverse=newest)[:limit]


def _values(wanted: HistoryFilter, driver: tuple[str, ...]) -> list[list[object]]:
    """What the driver's columns must be: one walk for each name the subject's type ever had."""
    if "subject_type" not in driver:
        return [[getattr(wanted, name) for name in driver]]
    return [[type_, wanted.subject_id] for type_ in types_of(str(wanted.subject_type))]


def visible(scope: frozenset[int] | None, tables: frozenset[str] | None = None) -> QuerySet[Entry]:
    """Every entry within the scope and of these tables, for finding one by its id."""
    return _within(_of_tables(Entry.objects.all(), tables), scope)


def _of_tables(entries: QuerySet[Entry], tables: frozenset[str] | None) -> QuerySet[Entry]:
    """What was refused is of no table, and so left out where some are named."""
    if tables is None:
        return entries
    return entries.filter(holds("table_name = ANY(%s)", [sorted(tables)]))


def _within(entries: QuerySet[Entry], scope: frozenset[int] | None) -> QuerySet[Entry]:
    if scope is None:
        return entries
    return entries.filter(Q(site_id__in=scope) | Q(site_id__isnull=True))


EQUALITIES = {
    "subject_type": "subject_type",
    "subject_id": "subject_id",
    "parameter": "parameter",
    "actor": "actor_id",
    "site": "site_id",
    "action": "action",
    "operation": "operation",
    "device": DEVICE_SQL,
}
# The indexes to walk, the one that usually leaves least first.
WALKS: tuple[tuple[str, ...], ...] = (
    ("subject_type", "subject_id"),
    ("operation",),
    ("device",),
    ("parameter",),
    ("actor",),
    ("site",),
    ("action",),
)


def _drivers(wanted: HistoryFilter) -> list[tuple[str, ...]]:
    """The conditions whose index can be walked, the others only filtering what it yields; () where
    there is none. One alone where a subject had several names: each of them is walked."""
    walks = [names for names in WALKS if not (wanted.carried and names == ("parameter",))]
    given = [each for each in walks if None not in [getattr(wanted, name) for name in each]]
    renamed = wanted.subject_type is not None and len(types_of(wanted.subject_type)) > 1
    return given[:1] if renamed else given or [()]


def _others(wanted: HistoryFilter, driver: tuple[str, ...]) -> QuerySet[Entry]:
    """The other conditions, put so that no index answers them: all there is of one would be read
    to be met with what the walk finds. Not the driver's own: see audit.reading.keyset."""
    entries = Entry.objects.filter(_about(wanted))
    for name, column in EQUALITIES.items():
        value = None if wanted.carried and name == "parameter" else getattr(wanted, name)
        if value is not None and name not in driver:
            entries = entries.filter(holds(f"{column} IS NOT DISTINCT FROM %s", [value]))
    return entries


def _about(wanted: HistoryFilter) -> Q:
    """About the parameter, or of a table whose rows carry it among others."""
    if not wanted.carried or wanted.parameter is None:
        return Q()
    about = Q(parameter=wanted.parameter)
    for table, carrier in registry.carriers.items():
        about |= Q(table_name=table) & carrier.carries(wanted.parameter)
    return about
