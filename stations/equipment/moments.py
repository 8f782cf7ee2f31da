"""What waits for a moment that was said by a site's clock: its zone stays until that has been.

A moment is kept as one, and read by the site's zone. With another zone, what was signed for 06:00
would be read as 15:00, or be meant for 06:00 there: nobody can tell which. So it is not done.
"""

from collections.abc import Callable
from datetime import datetime
from zoneinfo import ZoneInfo

from audit.errors import Problem

Waiting = Callable[[int], tuple[int, datetime | None]]  # how many slots, and the first moment
_sources: list[Waiting] = []


def register_waiting(source: Waiting) -> Waiting:
    """Have what this finds for a site keep the site's zone."""
    _sources.append(source)
    return source


def what_waits(site_id: int, now: str, then: str) -> Problem | None:
    """Why the zone `now` can't become `then`, in words; None where nothing waits."""
    for source in _sources:
        slots, first = source(site_id)
        if first is not None:
            here, there = (first.astimezone(ZoneInfo(zone)) for zone in (now, then))
            return Problem(
                "time_zone",
                then,
                f"{now} for now: {slots} slot{'s wait' if slots > 1 else ' waits'} for a moment"
                f" that was signed, the first for {here:%Y-%m-%d %H:%M}, which would read"
                f" {there:%Y-%m-%d %H:%M}. Cancel it for this site first, or change the zone"
                " afterwards",
            )
    return None
