"""The history's partitions: which there are, and a new one for a new month."""

import time
from dataclasses import dataclass

from django.db import connection

STALE = 600  # seconds

_PARTITIONS = "SELECT name, month, first, stop FROM audit_partitions()"


@dataclass(frozen=True, slots=True)
class Partition:
    """Ids from `first` up to but not including `stop`; None is no bound.

    `month`, "2026-11", is the one it was opened in. It is open while `stop` is None.
    """

    name: str
    month: str
    first: int | None
    stop: int | None


def partitions() -> list[Partition]:
    """All of them, oldest first."""
    with connection.cursor() as cursor:
        cursor.execute(_PARTITIONS)
        return [Partition(*row) for row in cursor.fetchall()]


def roll() -> str | None:
    """Open a partition for this month (UTC) if it has none yet, and close the one before.

    Its name; "" if there was nothing to do; None if the history was in use for too long. Safe
    with many callers. Where it is not called for months, one partition holds those months.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT audit_roll()")
        name: str | None = cursor.fetchone()[0]
    return name


class _Bounds:
    """Where partitions begin, remembered: there is one more a month, or some fewer at times."""

    def __init__(self) -> None:
        self._bounds: list[int] = []
        self._until = 0.0

    def now(self) -> list[int]:
        if time.monotonic() > self._until:
            self._bounds = [one.first for one in partitions() if one.first is not None]
            self._until = time.monotonic() + STALE
        return self._bounds


_bounds = _Bounds()


def bounds() -> list[int]:
    """The first ids of all partitions but the oldest, in order; up to ten minutes old.

    They decide how a question is put, never what is answered: any ids would do for that.
    """
    return _bounds.now()
