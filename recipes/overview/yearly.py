"""Counts by month at one site: six queries, however much happened.

Months are those of the site's own calendar. An act is one transaction: publishing to 40 slots is
one act with many entries.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Count, F, QuerySet
from django.db.models.functions import ExtractMonth

from audit.capture.models import Entry, Operation
from audit.vocabulary import words
from recipes.permits.models import PermitSlot
from recipes.planning.plan import PUBLICATION
from recipes.requests.models import ChangeRequest
from stations.equipment.models import Site
from stations.slots.models import Placement

MONTHS = range(1, 13)


@dataclass(frozen=True, slots=True)
class MonthlyCounts:
    """One thing that is counted: how often in each of the twelve months."""

    name: str
    months: tuple[int, ...]

    @property
    def total(self) -> int:
        """The year's."""
        return sum(self.months)


@dataclass(frozen=True, slots=True)
class Year:
    """A site's year: acts by kind, and what came of them."""

    year: int
    actions: list[MonthlyCounts]
    refusals: MonthlyCounts
    outcomes: list[MonthlyCounts]

    @property
    def acts(self) -> MonthlyCounts:
        """All acts that were not refused."""
        columns = zip(*(line.months for line in self.actions), strict=True)
        return MonthlyCounts("All acts", tuple(map(sum, columns)) or (0,) * 12)

    @property
    def empty(self) -> bool:
        """Whether nothing at all is on record."""
        return not any(line.total for line in (self.acts, self.refusals, *self.outcomes))


def year_of(site: Site, year: int) -> Year:
    """The counts of that calendar year there."""
    zone = ZoneInfo(site.time_zone)
    span = (datetime(year, 1, 1, tzinfo=zone), datetime(year + 1, 1, 1, tzinfo=zone))
    refusals = _refusals(site, span, zone)
    return Year(year, _actions(site, span, zone), refusals, [
        refusals,
        *_placed(site, span, zone),
        _line("Slots given a permit", _permits(site), "granted_at", span, zone),
        _line("Requests made", ChangeRequest.objects.filter(site=site), "made_at", span, zone),
    ])  # fmt: skip


Span = tuple[datetime, datetime]


def _monthly(
    rows: QuerySet[Any], at: str, span: Span, zone: ZoneInfo, *by: str, count: str = "pk"
) -> list[Any]:
    """(what it is by…, month, how many different ones)."""
    within = rows.filter(**{f"{at}__gte": span[0], f"{at}__lt": span[1]}).order_by()
    months = within.annotate(month=ExtractMonth(at, tzinfo=zone)).values(*by, "month")
    counted = months.annotate(times=Count(count, distinct=True))
    return list(counted.values_list(*by, "month", "times"))


def _line(name: str, rows: QuerySet[Any], at: str, span: Span, zone: ZoneInfo) -> MonthlyCounts:
    return MonthlyCounts(name, _twelve(dict(_monthly(rows, at, span, zone))))


def _twelve(by_month: Mapping[int, int]) -> tuple[int, ...]:
    return tuple(by_month.get(month, 0) for month in MONTHS)


def _entries(site: Site) -> QuerySet[Entry]:
    return Entry.objects.filter(site_id=site.pk)


def _actions(site: Site, span: Span, zone: ZoneInfo) -> list[MonthlyCounts]:
    done = _entries(site).exclude(operation=Operation.REFUSED)
    by_action: dict[str, dict[int, int]] = {}
    for action, month, times in _monthly(done, "at", span, zone, "action", count="txid"):
        by_action.setdefault(action, {})[month] = times
    lines = [MonthlyCounts(words(action), _twelve(months)) for action, months in by_action.items()]
    return sorted(lines, key=lambda line: (-line.total, line.name))


def _refusals(site: Site, span: Span, zone: ZoneInfo) -> MonthlyCounts:
    refused = _entries(site).filter(operation=Operation.REFUSED)
    return _line("Refused", refused, "at", span, zone)


def _placed(site: Site, span: Span, zone: ZoneInfo) -> list[MonthlyCounts]:
    rows = Placement.objects.filter(site=site, basis=PUBLICATION.basis)
    versions = rows.annotate(version=F("settings__content_digest"))
    counted = _monthly(versions, "started_at", span, zone, count="version")
    return [
        MonthlyCounts("Different versions placed", _twelve(dict(counted))),
        _line("Slots placed", rows, "started_at", span, zone),
    ]


def _permits(site: Site) -> QuerySet[Any]:
    named = PermitSlot.objects.filter(slot__station__machine__site=site)
    return named.annotate(granted_at=F("permit__granted_at"))


def years_of(today: date) -> list[int]:
    """The years to choose from, this one first."""
    return list(range(today.year, today.year - 5, -1))
