"""The box's own clock, and how far it is from the server's."""

import time
from datetime import UTC, datetime, timedelta

# What counts time that passes, also while the box sleeps (Linux); nobody can set it.
PASSES = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
SLEWED = timedelta(seconds=2)  # as much as a clock that is kept right may be moved
WELL_WITHIN = timedelta(seconds=150)  # half of what the server allows a signature to be off


class Clock:
    """Times of events are the box's own; signatures are shifted only where the server demands it.

    ``measured`` is what the server's clock is ahead by, as its last answer said (to a second);
    ``applied`` is what signatures and times that are sent are shifted by. What a heartbeat tells
    is the other way round: the box's clock minus the server's.
    """

    def __init__(self, applied: timedelta = timedelta()) -> None:
        self.applied = applied
        self.measured = timedelta()
        self._began = self._since_boot()

    def _since_boot(self) -> timedelta:
        """The box's time less what has passed: it changes only when somebody sets the clock."""
        return timedelta(seconds=self.now().timestamp() - time.clock_gettime(PASSES))

    def was_set(self) -> timedelta:
        """By how much the clock was set since this was asked last; nothing within a second or two.

        A box without a battery begins years ago until it has a line: what it noted meanwhile is to
        be moved along.
        """
        now = self._since_boot()
        by = now - self._began
        if abs(by) <= SLEWED:
            return timedelta()
        self._began = now
        return by

    def now(self) -> datetime:
        """The box's own time, UTC."""
        return datetime.now(UTC)

    def signing(self) -> datetime:
        """The moment that a signature names."""
        return self.now() + self.applied

    def heard(self, date: datetime) -> None:
        """An answer's Date; a shift that is no longer needed ends."""
        self.measured = date - self.now()
        if abs(self.measured) < WELL_WITHIN:
            self.applied = timedelta()

    def refused(self, date: datetime) -> None:
        """The server would not take our time: from now on, take its own."""
        self.measured = self.applied = date - self.now()
