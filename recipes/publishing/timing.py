"""From when on: at once, at one local date and time by every site's own clock, or with a lot."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from audit.errors import Invalid
from recipes.coffees.models import RoastLot
from stations.equipment.models import Site

FURTHEST = timedelta(days=366)
LONG_PAST = timedelta(days=2)  # more than any two clocks on Earth differ: a slip, not a moment


@dataclass(frozen=True)
class When:
    """A local date and time, the same on the wall at every site; or neither, for at once.

    With a ``lot`` it is neither: each site begins when it opens that roast lot.
    """

    local_date: date | None = None
    local_time: time | None = None
    lot: RoastLot | None = None

    def __post_init__(self) -> None:
        """Raise Invalid unless both are given or neither, and neither with a lot."""
        if self.lot is not None and (self.local_date, self.local_time) != (None, None):
            raise Invalid("lot", self.lot.code, "either a lot, or a date and a time")
        if (self.local_date is None) != (self.local_time is None):
            field = "date" if self.local_date is None else "time"
            raise Invalid(field, "", "both a date and a time, or neither for at once")

    @property
    def at_once(self) -> bool:
        """Whether it is due the moment it is signed."""
        return self.local_date is None and self.lot is None


@dataclass(frozen=True)
class Due:
    """The instant a publication is due at one site, and what is special about it there.

    Where it ``waits`` for a lot, that instant is the earliest: it comes when the site opens it.
    """

    at: datetime
    note: str = ""
    waits: bool = False


def due_at(site: Site, when: When, now: datetime) -> Due:
    """The instant (UTC) at which ``when`` comes at a site; for a lot, from which on it may.

    A time that the clock skips on that day is taken as the moment right after the gap, one that
    comes twice as the first of the two, and one already past there as now; ``note`` says so.
    Raises Invalid for a moment more than a year away, and for one that is long past.
    """
    if when.local_date is None or when.local_time is None:
        return Due(now)
    if not -LONG_PAST <= when.local_date - now.date() <= FURTHEST:
        raise Invalid("date", when.local_date.isoformat(), "today or a day within the coming year")
    instant, note = _resolve(site, datetime.combine(when.local_date, when.local_time))
    if instant <= now:
        return Due(now, "this moment has passed there: at once")
    return Due(instant, note)


def instant_of(site: Site, day: date, at: time) -> datetime:
    """The instant (UTC) at which a site's clock shows this; gaps and doubles as `due_at` has it."""
    return _resolve(site, datetime.combine(day, at))[0]


def _resolve(site: Site, wall: datetime) -> tuple[datetime, str]:
    first = wall.replace(tzinfo=site.zone, fold=0)
    second = wall.replace(tzinfo=site.zone, fold=1)
    instant = first.astimezone(UTC)
    if first.utcoffset() == second.utcoffset():
        return instant, ""
    if instant.astimezone(site.zone).replace(tzinfo=None) == wall:
        return instant, "the clock shows this time twice that day: the first is meant"
    # In a gap fold=1 reads the wall time with the later offset, which is before the gap; the
    # gap itself lies between the two instants.
    start = _gap_end(site, second.astimezone(UTC), instant)
    local = start.astimezone(site.zone)
    # Where a whole day was skipped, the day must be said as well.
    shown = local.strftime("%H:%M" if local.date() == wall.date() else "%H:%M on %Y-%m-%d")
    return start, f"the clock skips this time that day: {shown} is meant"


def _gap_end(site: Site, before: datetime, after: datetime) -> datetime:
    """The instant at which the offset changes, to the second, by halving the interval."""
    low, high = before, after
    offset = low.astimezone(site.zone).utcoffset()
    while high - low > timedelta(seconds=1):
        middle = low + (high - low) / 2
        if middle.astimezone(site.zone).utcoffset() == offset:
            low = middle
        else:
            high = middle
    return high.replace(microsecond=0)
