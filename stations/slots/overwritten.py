"""Who may have overwritten a slot: the time in which it happened, and what was done near it then.

A value changed at the machine itself leaves no entry. What can be known is the window, between
the last read-back that matched and the first that did not, and who was about.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Case, Count, IntegerField, Max, Min, Q, QuerySet, Value, When

from audit.capture.context import channel_words
from audit.capture.models import Entry
from people.persons.models import Assignment
from stations.equipment.models import Slot
from stations.slots.models import ReadBack

MOST = 100  # lines; the nearest first
NEAR = ("slot", "station", "site")
LATE = timedelta(minutes=1)  # longer than a transaction: it was told later than it was read

LastGood = Callable[[ReadBack], datetime | None]
_last_good: list[LastGood] = []


def register_last_good(ask: LastGood) -> LastGood:
    """Whom to ask when a slot was last found right before this one differed.

    Finding the same again makes no read-back (stations.gateways.reading), so read-backs alone
    would say too long ago.
    """
    _last_good.append(ask)
    return ask


@dataclass(frozen=True, slots=True)
class Window:
    """From when it was still right (or came into force) until it was found to differ."""

    begin: datetime
    end: datetime
    matching: ReadBack | None
    differing: ReadBack
    channels: dict[int, str]  # by read-back, in words: page, API, gateway

    @property
    def matching_channel(self) -> str:
        """Through which channel the last matching one came."""
        return self.channels.get(self.matching.pk, "") if self.matching else ""

    @property
    def differing_channel(self) -> str:
        """Through which channel the first differing one came."""
        return self.channels.get(self.differing.pk, "")


@dataclass(frozen=True, slots=True)
class Acted:
    """What one person did there through one channel within the window."""

    actor: str
    role: str
    channel: str
    near: str
    times: int
    first: datetime
    last: datetime


def window_of(slot: Slot) -> Window | None:
    """The newest time it was overwritten; None if no read-back ever differed.

    By the moments at which was read: a gateway tells of what it read without a line later on.
    """
    reads = ReadBack.objects.filter(slot=slot).select_related("by", "gateway", "placement")
    differing = reads.filter(verdict="differs")
    last = differing.order_by("-at", "-pk").first()
    if last is None:
        return None
    matching = reads.filter(_before(last), verdict="matches").order_by("-at", "-pk").first()
    since = differing.exclude(_before(matching)) if matching else differing
    first = since.order_by("at", "pk").first() or last
    begin = first.placement.started_at or first.at
    written = _written(slot, matching, first)
    channels = {pk: channel_words(channel) for pk, (_, channel) in written.items()}
    # The history's clock is that of the moment; a read-back's own time is its transaction's.
    moments = {pk: at for pk, (at, _) in written.items()}
    if matching:
        begin = max(begin, moments.get(matching.pk, matching.at))
    begin = max([begin, *(at for ask in _last_good if (at := ask(first)))])
    return Window(begin, moments.get(first.pk, first.at), matching, first, channels)


def _before(read: ReadBack) -> Q:
    return Q(at__lt=read.at) | Q(at=read.at, pk__lt=read.pk)


def _written(slot: Slot, *reads: ReadBack | None) -> dict[int, tuple[datetime, str]]:
    """When the history wrote the read-backs down, and the channel they came through.

    One that came in late counts from when it was read.
    """
    known = {read.pk: read.at for read in reads if read}
    found = Entry.objects.filter(subject_type="slot", subject_id=slot.pk, row_id__in=list(known))
    rows = found.filter(table_name="stations_readback").values_list("row_id", "at", "channel")
    return {
        pk: (at if at - known[pk] < LATE else known[pk], channel)
        for pk, at, channel in rows
        if pk is not None
    }


def acted_within(
    slot: Slot, window: Window, tables: frozenset[str] | None = None
) -> Sequence[Acted]:
    """Who did what at the slot, its station and its site meanwhile, the nearest first.

    Where ``tables`` are named, only what was done to them.
    """
    station = slot.station
    near = Case(
        When(subject_type="slot", subject_id=slot.pk, then=Value(0)),
        When(subject_type="station", subject_id=station.pk, then=Value(1)),
        default=Value(2),
        output_field=IntegerField(),
    )
    there = Q(site_id=station.machine.site_id) | Q(subject_type="slot", subject_id=slot.pk)
    entries = Entry.objects.filter(there, at__gte=window.begin, at__lte=window.end)
    if tables is not None:
        entries = entries.filter(table_name__in=tables)
    found = (
        entries.annotate(near=near)
        .values_list("actor", "role", "channel", "near")
        .annotate(times=Count("pk"), first=Min("at"), last=Max("at"))
        .order_by("near", "-last")[:MOST]
    )
    return [
        Acted(actor, role, channel_words(channel), NEAR[at], times, first, last)
        for actor, role, channel, at, times, first, last in found
    ]


def roles_there(slot: Slot, until: datetime) -> QuerySet[Assignment]:
    """Who has a role that covers the site and was given it before the window closed.

    A role taken away since is in the history of its person.
    """
    site = slot.station.machine.site_id
    covering = Assignment.objects.filter(Q(site=site) | Q(site=None), created_at__lte=until)
    return covering.select_related("user", "site").order_by("user__name", "role")
