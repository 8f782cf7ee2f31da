"""Where an axis has its marks, and what stands beside them: each once, and exact.

Left to themselves, charts of one value round its mark to a whole number, and those of a short span
write the same day under each of theirs.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from itertools import pairwise

MOST = 5  # marks across a chart that a phone shows
STEPS = [
    timedelta(seconds=seconds)
    for seconds in (
        *(1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800),
        *(hours * 3600 for hours in (1, 2, 3, 6, 12)),
        *(days * 86400 for days in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)),
    )
]  # fmt: skip
DAY = timedelta(days=1)
EPOCH = datetime(2000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Marks:
    """Places of the marks, and the words beside them as a d3 format."""

    places: tuple[float, ...]
    format: str

    @property
    def ends(self) -> list[float]:
        """The first and the last place: what the axis covers."""
        return [self.places[0], self.places[-1]]


def number_marks(low: Decimal, high: Decimal) -> Marks:
    """Round numbers from at or below `low` to at or above `high`, with the digits they need."""
    if low == high:
        room = abs(low) / 10 or Decimal(1)
        low, high = low - room, high + room
    step = _step((high - low) / (MOST - 1))
    first = (low / step).to_integral_value(ROUND_FLOOR)
    last = (high / step).to_integral_value(ROUND_CEILING)
    places = tuple(float(step * at) for at in range(int(first), int(last) + 1))
    return Marks(places, f".{max(0, -_exponent(step))}f")


def _step(least: Decimal) -> Decimal:
    """The next of 1, 2, 5 times a power of ten."""
    unit = Decimal(1).scaleb(least.adjusted())
    return next(unit * times for times in (1, 2, 5, 10) if unit * times >= least).normalize()


def _exponent(step: Decimal) -> int:
    return int(step.as_tuple().exponent)


def time_marks(first: datetime, last: datetime) -> Marks:
    """Moments in UTC, in milliseconds since 1970, between two moments; one where they are one."""
    step = next((one for one in STEPS if (last - first) / one <= MOST - 1), STEPS[-1])
    start = EPOCH + (-((EPOCH - first) // step)) * step  # at or after the first
    moments = [start + step * at for at in range(MOST) if start + step * at <= last] or [first]
    return Marks(tuple(one.timestamp() * 1000 for one in moments), _words(moments, step))


def _words(moments: list[datetime], step: timedelta) -> str:
    """As little as tells them apart."""
    if step < DAY and (len(moments) == 1 or moments[0].date() != moments[-1].date()):
        return "%-d %b %H:%M"
    if step < DAY:
        return "%H:%M:%S" if step < timedelta(minutes=1) else "%H:%M"
    years = any(one.year != other.year for one, other in pairwise(moments))
    return "%-d %b %Y" if years or step > 20 * DAY else "%-d %b"
