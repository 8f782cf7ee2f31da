"""What the signer says of time: by its own clock, about transactions as the database has them.

The database's clock writes the entries, the signer's own stands in the checkpoints, so that whoever
can set one of them can't make the other agree. Sealing waits while the two differ, and while the
signer's own lies behind what it signed: nothing is signed with a time that can't be believed.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from django.db import connection

from audit.ledger.stamp import Stamp, Through, moment, read_moment, runs_of
from audit.ledger.window import CLOCKS, Window
from audit.sealing.keys import SealingError
from audit.sealing.models import Checkpoint
from audit.sealing.payload import Made

PULSE = timedelta(minutes=10)  # signed anew after so long although nothing came
UNKNOWN = "1970-01-01T00:00:00.000000Z"  # had not begun then, for all that is known

_LOOK = """
SELECT pg_current_snapshot()::text, (pg_current_xact_id_if_assigned()::text)::bigint,
    clock_timestamp()
"""


class ClockError(SealingError):
    """A clock is wrong: nothing is sealed until it is right."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Which transactions of the cluster are under way: none below `oldest`, those `open`, this one
    (`own`) if it has a number, and none yet from `next` on. `at` is the signer's clock before."""

    at: str
    oldest: int
    next: int
    open: frozenset[int]
    own: int | None = None

    def ended(self, txid: int) -> bool:
        """Whether that transaction had ended. Our own counts: it sees what it wrote."""
        return txid == self.own or (txid < self.next and txid not in self.open)


def look() -> Snapshot:
    """As of now. Raises ClockError if the database's clock is not the signer's."""
    before = datetime.now(UTC)
    with connection.cursor() as cursor:
        cursor.execute(_LOOK)
        text, own, there = cursor.fetchone()
    if not before - CLOCKS <= there <= datetime.now(UTC) + CLOCKS:
        raise ClockError(
            f"The database's clock says {moment(there)}, and this machine's {moment(before)}: "
            "nothing is sealed until both are set to network time."
        )
    oldest, following, listed = text.split(":")
    running = frozenset(int(one) for one in listed.split(",") if one)
    return Snapshot(moment(before), int(oldest), int(following), running, own)


def stamp_after(
    before: Stamp | None,
    floor: tuple[int, int],
    *,
    latest: Stamp | None = None,
    through: Snapshot | None = None,
    restored: bool = False,
) -> Stamp:
    """The stamp of the checkpoint after that one, signed now. Marks nothing yet.

    `through` is the snapshot up to which all is sealed now, None if it is still that of before;
    `latest` is what was signed last if that is not `before`. Raises ClockError.
    """
    signed = max((one.time for one in (before, latest) if one), default="")
    return Stamp(
        number=(before.number if before else Checkpoint.objects.count()) + 1,
        time=max(_now(signed), signed),
        through=_through(before, through) if through else (before.through if before else None),
        floor=floor,
        marked=before.marked if before else 0,
        restored=restored,
    )


def marking(stamp: Stamp, before: Stamp | None, start: int, rows: Made, seen: Snapshot) -> Stamp:
    """The same with those entries marked that can't have come the way of entries; `rows` become
    the entries from `start` on. `seen` is a snapshot from before they were read."""
    txids, times = rows.txids, rows.times
    if not txids:
        return stamp
    window = Window(before, stamp)
    if window.all_fit(min(txids), min(times), max(times)) and max(txids) < seen.oldest:
        return stamp
    after = look() if not stamp.restored else None
    late = runs_of(
        start + at
        for at, (txid, time) in enumerate(zip(txids, times, strict=True))
        if window.why(txid, time) or (after and not after.ended(txid))
    )
    return replace(
        stamp, late=late, marked=stamp.marked + sum(last - first + 1 for first, last in late)
    )


def due(before: Stamp | None) -> bool:
    """Whether it is time to sign although nothing came: so that the time an entry can be given
    afterwards lies between two checkpoints, also at night."""
    return before is None or datetime.now(UTC) - read_moment(before.time) > PULSE


def stamp_anew(before: Stamp | None, floor: tuple[int, int]) -> Stamp:
    """The stamp of a checkpoint that begins anew, whatever was signed before: with this moment, and
    knowing of no transactions."""
    number = before.number if before else Checkpoint.objects.count()
    marked = before.marked if before else 0
    return Stamp(number + 1, moment(datetime.now(UTC)), None, floor, marked)


def signed_ahead(stamp: Stamp | None) -> bool:
    """Whether it was signed at a time that has not come yet."""
    return stamp is not None and datetime.now(UTC) < read_moment(stamp.time) - CLOCKS


def _now(signed: str) -> str:
    """The signer's time. Raises ClockError if it signed a later one already."""
    now = datetime.now(UTC)
    if signed and now < read_moment(signed) - CLOCKS:
        raise ClockError(
            f"This machine's clock says {moment(now)}, and it signed at {signed} already: set it "
            "to network time. If it was wrong when it signed, `manage.py resume_sealing` goes on "
            "from now."
        )
    return moment(now)


def _through(before: Stamp | None, seen: Snapshot) -> Through:
    """All that had ended as of that snapshot is sealed; what is open began after it was not."""
    running = {txid for txid in seen.open | {seen.own} if txid is not None and txid < seen.next}
    known = before.through if before else None
    began = {txid: _unbegun(known, txid) for txid in running}
    return Through(seen.at, seen.next, began)


def _unbegun(known: Through | None, txid: int) -> str:
    if known is None or known.ended(txid):
        return UNKNOWN
    return known.open.get(txid, known.time)
