"""The scheduler: what is due is sent once, whatever becomes of this machine's clock.

Celery's own compares the times of day of its runs: with the clock set back it sends nothing until
that has caught up.
"""

import time
from datetime import datetime, timedelta
from typing import Any

from celery.beat import PersistentScheduler, ScheduleEntry

from audit.queueing import mark, unmark

STEP = 1.0  # seconds by which a clock is set, and not merely kept right
PERIODS = 4  # for which a task may wait before another is sent: it may have been lost
SHORTEST = 30.0  # seconds


class SteadyScheduler(PersistentScheduler):
    """Named in CELERY_BEAT_SCHEDULER."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        self._offset = _offset()
        super().__init__(*args, **kwargs)

    def setup_schedule(self) -> None:
        """What ran later than now, by a clock set back while nothing was running, ran just now."""
        super().setup_schedule()
        for entry in self.schedule.values():
            entry.last_run_at = min(_last(entry), entry.default_now())

    def tick(self, *args: Any, **kwargs: Any) -> float:  # noqa: ANN401
        """As Celery's; the seconds until the next."""
        set_by = _offset() - self._offset
        if abs(set_by) > STEP:
            self._offset += set_by
            for entry in self.schedule.values():
                entry.last_run_at = _last(entry) + timedelta(seconds=set_by)
            self._heap = None
        return float(super().tick(*args, **kwargs))

    def apply_async(
        self,
        entry: ScheduleEntry,
        producer: Any = None,  # noqa: ANN401
        advance: bool = True,
        **kwargs: Any,  # noqa: ANN401
    ) -> Any:  # noqa: ANN401
        """Send it, unless the same waits for a worker already."""
        period = getattr(entry.schedule, "run_every", timedelta()).total_seconds()
        task = str(entry.task)
        if not mark(task, seconds=max(SHORTEST, PERIODS * period)):
            return None
        try:
            return super().apply_async(entry, producer, advance, **kwargs)
        except BaseException:
            unmark(task)
            raise


def _last(entry: ScheduleEntry) -> datetime:
    return entry.last_run_at or entry.default_now()


def _offset() -> float:
    """How far the time of day is ahead of the clock that nobody sets, in seconds."""
    return time.time() - time.monotonic()
