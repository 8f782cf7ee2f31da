"""Days off roast and the rest window a roaster sets for a coffee.

There is no published window (references 6.21): it is the roaster's own, never a constant here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from recipes.brewing.errors import QuantityError, whole

MOST_DAYS = 730


class RestState(StrEnum):
    """How a lot stands against its window."""

    RESTING = "resting"
    READY = "ready"
    PAST = "past"


@dataclass(frozen=True, slots=True)
class Rest:
    """A lot on one day: days off roast, its state, and days until that state ends (None: never)."""

    days: int
    state: RestState
    days_left: int | None

    @property
    def warn(self) -> bool:
        """Whether the lot is outside its window."""
        return self.state is not RestState.READY


def days_off_roast(roasted: date, on: date) -> int:
    """Whole days from the roast date to `on`, both dates of the site's own calendar.

    Raises QuantityError naming on if it lies before the roast, or either if it is a moment
    rather than a date (a moment's date depends on the time zone).
    """
    for field, value in (("roasted", roasted), ("on", on)):
        if isinstance(value, datetime) or not isinstance(value, date):
            raise QuantityError(field, value, "a date in the site's own zone")
    if on < roasted:
        raise QuantityError("on", on, f"{roasted} (the roast date) or later")
    return (on - roasted).days


def check_rest(days: int, first: int, last: int) -> Rest:
    """Where `days` off roast stand in the window from day `first` to day `last`, both included.

    Days from 0 to 730. Raises QuantityError naming days, first or last (last before first).
    """
    at = whole("days", days, least=0, most=100_000)
    start = whole("first", first, least=0, most=MOST_DAYS)
    stop = whole("last", last, least=start, most=MOST_DAYS)
    if at < start:
        return Rest(at, RestState.RESTING, start - at)
    if at <= stop:
        return Rest(at, RestState.READY, stop - at + 1)
    return Rest(at, RestState.PAST, None)
