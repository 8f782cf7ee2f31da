"""Questions to the history. Every one is answered by walking back along one index by id.

Pages are found by key and nothing is counted, so that the first and the thousandth page of
millions of entries cost the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Self

from django.db.models import Q, QuerySet

from audit.capture.models import Entry
from audit.reading.keyset import Bounds, Range, bounds_of, by_sites, walk
from audit.registry import registry, types_of

PAGE = 50


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

    @classmethod
    def of(cls, walked: list[Entry], size: int, before: int | None, after: int | None) -> Self:
        """From up to one entry more than the page holds, in the order they were walked."""
        more, entries = len(walked) > size, walked[:size]
        if after is not None:
            entries.reverse()
        ends = (entries[-1].id, entries[0].id) if entries else (None, None)
        if after is not None:
            return cls(entries, ends[0], ends[1] if more else None)
        return cls(entries, ends[0] if more else None, ends[1] if before is not None else None)


def page_of(
    wanted: HistoryFilter,
    scope: frozenset[int] | None,
    *,
    before: int | None = None,
    after: int | None = None,
    size: int = PAGE,
) -> HistoryPage:
    """One page: the newest, or those older than id `before`, or those newer than id `after`.

    `scope` holds the sites whose entries may be seen (None: all); entries without a site may be
    seen by everyone. A site outside the scope has no entries.
    """
    if wanted.site is not None and scope is not None and wanted.site not in scope:
        return HistoryPage([], None, None)
    bounds = bounds_of(wanted.since, wanted.until, wanted.zone)
    newest, walked = after is None, list[Entry]()
    for ids in Range.of(bounds, before=before, after=after).pieces(newest=newest):
        limit = size + 1 - len(walked)
        walked += _walked(wanted, scope, bounds, ids, limit=limit, newest=newest)
        if len(walked) > size:
            break
    return HistoryPage.of(walked, size, before, after)


def _walked(
    wanted: HistoryFilter,
    scope: frozenset[int] | None,
    bounds: Bounds,
    ids: Range,
    *,
    limit: int,
    newest: bool,
) -> list[Entry]:
    driver = _driver(wanted)
    if scope is not None and not driver:
        entries = bounds.exactly(_others(wanted, ()))
        return by_sites(entries, scope, ids, limit=limit, newest=newest)
    columns = [EQUALITIES[name] for name in driver]
    entries = _within(bounds.exactly(_others(wanted, driver)), scope)
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


def visible(scope: frozenset[int] | None) -> QuerySet[Entry]:
    """Every entry within the scope, for finding one by its id."""
    return _within(Entry.objects.all(), scope)


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
}
# The indexes to walk, the one that usually leaves least first.
WALKS = (
    ("subject_type", "subject_id"),
    ("operation",),
    ("parameter",),
    ("actor",),
    ("site",),
    ("action",),
)


def _driver(wanted: HistoryFilter) -> tuple[str, ...]:
    """The conditions whose index is walked; the others only filter what it yields."""
    walks = [names for names in WALKS if not (wanted.carried and names == ("parameter",))]
    given = (names for names in walks if None not in [getattr(wanted, name) for name in names])
    return next(given, ())


def _others(wanted: HistoryFilter, driver: tuple[str, ...]) -> QuerySet[Entry]:
    """The other conditions, as equalities. Not the driver's own: see audit.reading.keyset."""
    names = [name for name in EQUALITIES if name not in driver]
    pairs = {EQUALITIES[name]: getattr(wanted, name) for name in names}
    entries = Entry.objects.filter(_about(wanted))
    if wanted.carried:
        del pairs["parameter"]
    return entries.filter(**{k: v for k, v in pairs.items() if v is not None})


def _about(wanted: HistoryFilter) -> Q:
    """About the parameter, or of a table whose rows carry it among others."""
    if not wanted.carried or wanted.parameter is None:
        return Q()
    about = Q(parameter=wanted.parameter)
    for table, carrier in registry.carriers.items():
        about |= Q(table_name=table) & carrier.carries(wanted.parameter)
    return about
