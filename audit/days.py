"""From days on a site's calendar to the ids written on them."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import DateTimeField, ExpressionWrapper, F, QuerySet
from django.db.models.lookups import GreaterThanOrEqual, LessThan

from audit.models import Entry

LAST = 2**63 - 1  # the largest id there can be

# Ids are drawn a moment before the clock is read, so neighbours in time may be swapped in id.
# An hour is far more than a stalled process could swap; `at` itself is compared besides.
SLACK = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Bounds:
    """Ids between which to look, both included, and the exact moments (until is excluded)."""

    first: int = 0
    last: int = LAST
    since: datetime | None = None
    until: datetime | None = None

    def exactly(self, entries: QuerySet[Entry]) -> QuerySet[Entry]:
        """Only those within the moments."""
        # Added to, so that the index on `at` is no choice: the ids already say where to look.
        at = ExpressionWrapper(F("at") + timedelta(0), output_field=DateTimeField())
        if self.since:
            entries = entries.filter(GreaterThanOrEqual(at, self.since))
        return entries.filter(LessThan(at, self.until)) if self.until else entries


def start_of(day: date, zone: str) -> datetime:
    """The first moment of a day there, also where clocks change at midnight."""
    return datetime.combine(day, time(), ZoneInfo(zone))


def bounds_of(since: date | None, until: date | None, zone: str) -> Bounds:
    """Bounds of whole days in a zone (IANA name), both included; two index probes at most."""
    begin = start_of(since, zone) if since else None
    end = start_of(until + timedelta(days=1), zone) if until and until < date.max else None
    first, last = 0, LAST
    if begin:
        later = Entry.objects.filter(at__gte=begin - SLACK).order_by("at")
        first = later.values_list("id", flat=True).first() or LAST
    if end:
        earlier = Entry.objects.filter(at__lt=end + SLACK).order_by("-at")
        last = earlier.values_list("id", flat=True).first() or 0
    return Bounds(first, last, begin, end)
