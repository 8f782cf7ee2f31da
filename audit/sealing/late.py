"""Entries that were sealed late: said in the history, raised as an alarm, shown on their pages.

What counts is the checkpoint's signed mark; the event beside it is how people hear of it.
"""

from collections.abc import Collection, Iterator
from datetime import timedelta

from django.db import connection
from django.urls import reverse
from django.utils import timezone

from audit.alarms import Alarm, register_alarm
from audit.capture.context import recorded
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.stamp import Stamp
from audit.sealing.models import Checkpoint, SealingEvent, SealingEventKind
from audit.sealing.runs import index_of
from audit.vocabulary import register

FOUND_LATE = register("ledger.found_late", "Sealed entries late")
RESTORED = register("ledger.restored", "Found the database restored")
ALARM = timedelta(days=30)  # for which an alarm stands; the event and the mark stay
KINDS = (SealingEventKind.LATE, SealingEventKind.RESTORED)


def say_late(stamp: Stamp) -> None:
    """An event for the entries this stamp marks, if any. Call in the checkpoint's transaction."""
    if not stamp.late:
        return
    count = stamp.marked_here
    runs = ", ".join(f"{a + 1:,}" if a == b else f"{a + 1:,} to {b + 1:,}" for a, b in stamp.late)
    sealed = "1 entry was" if count == 1 else f"{count:,} entries were"
    fits = "Its transaction or time does" if count == 1 else "Their transactions or times do"
    words = (
        f"{sealed} sealed late and marked so: no. {runs}. {fits} not fit the moment of sealing: "
        "put in afterwards, or a clock was wrong. A check of the history says more."
    )
    _say(SealingEventKind.LATE, FOUND_LATE, words)


def say_restored() -> None:
    """An event for a database whose transactions count anew."""
    words = (
        "The database counts its transactions anew: it was restored into another cluster. What was "
        "not sealed yet was sealed by its time alone."
    )
    _say(SealingEventKind.RESTORED, RESTORED, words)


def _say(kind: SealingEventKind, action: str, words: str) -> None:
    with recorded(by=None, action=action, reason=words):
        SealingEvent.objects.create(kind=kind, words=words)


@register_alarm
def sealed_late() -> Iterator[Alarm]:
    """What was found late in the last thirty days."""
    since = timezone.now() - ALARM
    for event in SealingEvent.objects.filter(kind__in=KINDS, at__gt=since).order_by("-id")[:5]:
        yield Alarm(event.words, reverse("audit:ledger"), since=event.at)


_AMONG = rf"""
SELECT e.id, e.index, c.note
FROM (SELECT w.id, {index_of("w.id")} AS index FROM unnest(%s::bigint[]) AS w(id)) e
CROSS JOIN LATERAL (
    SELECT note FROM audit_checkpoint WHERE size > e.index ORDER BY size, id LIMIT 1
) c
WHERE c.note ~ '\nlate [0-9]+ [0-9]'
"""  # noqa: S608  our own SQL


def marked_among(entries: Collection[int]) -> frozenset[int]:
    """Which of these entries the checkpoint that sealed them marks as late, in one query."""
    with connection.cursor() as cursor:
        cursor.execute(_AMONG, [list(entries)])
        return frozenset(pk for pk, index, note in cursor.fetchall() if _marks(note, index))


def _marks(note: str, index: int) -> bool:
    try:
        stamp = read_checkpoint(note).stamp
    except LedgerError:
        return False
    return stamp is not None and stamp.marks(index)


def marked_late(index: int) -> Checkpoint | None:
    """The checkpoint that sealed the entry at this place, if it marks it as late."""
    sealed = Checkpoint.objects.filter(size__gt=index).order_by("size", "id").first()
    return sealed if sealed and _marks(sealed.note, index) else None
