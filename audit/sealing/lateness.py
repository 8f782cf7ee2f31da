"""How far sealing lags behind, and the newest checkpoint by mail.

Until an entry is sealed, its change would not be found. A checkpoint kept outside is what a
rebuilt history can not meet.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.conf import settings
from django.core.mail import send_mail
from django.db import connection
from django.utils import timezone

from audit.sealing.keys import verifiers
from audit.sealing.models import Checkpoint
from audit.sealing.runs import index_of, leaves
from audit.sealing.store import newest_checkpoint

COUNTED = 100  # entries; more is only said to be more

# From both ends, so that the cost is bounded: while one long transaction holds the floor back,
# any number of sealed entries may lie above it, and what waits lies before or behind them. A
# leaf is probed for each, as NOT EXISTS may become a join that reads every leaf there is.
_WAITING = f"""
WITH oldest AS (
    SELECT e.id, e.at FROM audit_entry e WHERE (e.txid, e.id) > (%(txid)s, %(id)s)
    ORDER BY e.txid, e.id LIMIT %(most)s
), newest AS (
    SELECT e.id, e.at FROM audit_entry e WHERE (e.txid, e.id) > (%(txid)s, %(id)s)
    ORDER BY e.txid DESC, e.id DESC LIMIT %(most)s
)
SELECT count(*), min(at), (
    SELECT CASE kind WHEN 'stopped' THEN words ELSE '' END
    FROM audit_sealingevent ORDER BY id DESC LIMIT 1
) FROM (TABLE oldest UNION TABLE newest) e
WHERE {index_of("e.id")} IS NULL
"""  # noqa: S608  our own SQL
# Of the last batch: from the first write in it to its seal. It counts from the write, since the
# moment of the commit is not recorded; the true delay is this or less.
_LAST = f"""
SELECT max(%(made)s - e.at) FROM audit_entry e WHERE e.id = ANY(
    ARRAY(SELECT l.entry_id FROM {leaves("%(start)s", "%(stop)s")} l)
)
"""  # noqa: S608  our own SQL


@dataclass(frozen=True, slots=True)
class Lag:
    """What waits to be sealed, since when, and how long the last batch had waited; and what does
    not fit, if sealing has stopped for that."""

    newest: Checkpoint | None
    waiting: int
    oldest: datetime | None
    last_delay: timedelta | None
    stopped: str = ""

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
        return f"more than {COUNTED:,}" if self.waiting >= COUNTED else f"{self.waiting:,}"

    @property
    def alarm(self) -> bool:
        """Whether somebody has to look."""
        return bool(self.stopped) or self.seconds > settings.LEDGER_LATE


def lag_now() -> Lag:
    """Measured now: a few short index scans, of twice COUNTED entries at the most."""
    lag = waiting_now()
    return replace(lag, last_delay=_last_delay(lag.newest)) if lag.newest else lag


def waiting_now() -> Lag:
    """The same without the last batch's delay, for pages that only say what waits."""
    newest = newest_checkpoint()
    floor = {"txid": newest.floor_txid, "id": newest.floor_id} if newest else {"txid": 0, "id": 0}
    with connection.cursor() as cursor:
        cursor.execute(_WAITING, {**floor, "most": COUNTED})
        waiting, oldest, stopped = cursor.fetchone()
    return Lag(newest, waiting, oldest, None, stopped or "")


def _last_delay(newest: Checkpoint) -> timedelta | None:
    before = Checkpoint.objects.filter(id__lt=newest.pk).order_by("-id").first()
    with connection.cursor() as cursor:
        start = before.size if before else 0
        cursor.execute(_LAST, {"made": newest.made_at, "start": start, "stop": newest.size})
        (delay,) = cursor.fetchone()
    return delay if isinstance(delay, timedelta) else None


WORDS = """\
The history of Portaledger, {size:,} entries, as signed on {made:%Y-%m-%d at %H:%M:%S} UTC.

Keep this mail. Saved to a file from the first line below the dashes to its end, it is what
`python -m audit.ledger verify BUNDLE --since FILE` compares an export with: nothing up to this
entry can be altered, removed, inserted or re-ordered without being found.

Signing key: {key}
{dashes}
{note}"""


def mail_newest() -> int:
    """Send it to every address of LEDGER_MAIL_TO; returns how many. Repeating does no harm."""
    newest, addresses = newest_checkpoint(), settings.LEDGER_MAIL_TO
    if newest is None or not addresses:
        return 0
    text = WORDS.format(
        size=newest.size,
        made=newest.made_at,
        key=verifiers()[-1].text,
        dashes="-" * 70,
        note=newest.note,
    )
    send_mail(f"[Portaledger] Checkpoint of {newest.size:,} entries", text, None, addresses)
    return len(addresses)
