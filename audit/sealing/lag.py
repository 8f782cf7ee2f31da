"""How far sealing lags behind: until an entry is sealed, its change would not be found."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db import connection
from django.utils import timezone

from audit.models import Checkpoint
from audit.sealing.seal import newest_checkpoint

COUNTED = 10_000  # entries; more is only said to be more

_WAITING = """
SELECT count(*), min(at) FROM (
    SELECT e.at FROM audit_entry e
    WHERE (e.txid, e.id) > (%s, %s)
        AND NOT EXISTS (SELECT 1 FROM audit_leaf l WHERE l.entry_id = e.id)
    ORDER BY e.txid, e.id LIMIT %s
) w
"""
# Of the last batch: from the first write in it to its seal. It counts from the write, since the
# moment of the commit is not recorded; the true delay is this or less.
_LAST = """
SELECT max(%s - e.at) FROM audit_leaf l JOIN audit_entry e ON e.id = l.entry_id
WHERE l.index >= %s AND l.index < %s
"""


@dataclass(frozen=True, slots=True)
class Lag:
    """What waits to be sealed, since when, and how long the last batch had waited."""

    newest: Checkpoint | None
    waiting: int
    oldest: datetime | None
    last_delay: timedelta | None

    @property
    def waited(self) -> timedelta:
        """How long the oldest has waited."""
        return timezone.now() - self.oldest if self.oldest else timedelta()

    @property
    def seconds(self) -> int:
        """The same, whole seconds for the page."""
        return int(self.waited.total_seconds())

    @property
    def last_seconds(self) -> str:
        """The last batch's delay for the page."""
        return f"{self.last_delay.total_seconds():.1f}" if self.last_delay else ""

    @property
    def counted(self) -> str:
        """How many wait, for the page."""
        return f"more than {COUNTED:,}" if self.waiting == COUNTED else f"{self.waiting:,}"

    @property
    def alarm(self) -> bool:
        """Whether somebody has to look."""
        return self.seconds > settings.LEDGER_LATE


def lag_now() -> Lag:
    """Measured now: two short index scans."""
    newest = newest_checkpoint()
    floor = (newest.floor_txid, newest.floor_id) if newest else (0, 0)
    with connection.cursor() as cursor:
        cursor.execute(_WAITING, [*floor, COUNTED])
        waiting, oldest = cursor.fetchone()
    return Lag(newest, waiting, oldest, _last_delay(newest) if newest else None)


def _last_delay(newest: Checkpoint) -> timedelta | None:
    before = Checkpoint.objects.filter(id__lt=newest.pk).order_by("-id").first()
    with connection.cursor() as cursor:
        cursor.execute(_LAST, [newest.made_at, before.size if before else 0, newest.size])
        (delay,) = cursor.fetchone()
    return delay if isinstance(delay, timedelta) else None
