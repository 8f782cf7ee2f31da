"""Weeks as they are counted by ISO 8601, by a site's own clock."""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from audit.errors import Invalid

WRITTEN = re.compile(r"(\d{4})-W(\d{2})", re.ASCII)
FIRST, LAST = 2000, 2200  # years


@dataclass(frozen=True, slots=True)
class Week:
    """A week by its Monday, where clocks show ``zone``."""

    monday: date
    zone: str

    @classmethod
    def read(cls, text: str, zone: str) -> "Week":
        """As in 2026-W48. Raises Invalid."""
        found = WRITTEN.fullmatch(text)
        try:
            if found is None or not FIRST <= int(found[1]) <= LAST:
                raise ValueError(text)
            return cls(date.fromisocalendar(int(found[1]), int(found[2]), 1), zone)
        except ValueError:
            raise Invalid("week", text, "a week of the calendar, such as 2026-W48") from None

    @classmethod
    def at(cls, moment: datetime, zone: str) -> "Week":
        """The one in which a moment lies there."""
        day = moment.astimezone(ZoneInfo(zone)).date()
        return cls(day - timedelta(days=day.weekday()), zone)

    def __str__(self) -> str:
        year, week, _ = self.monday.isocalendar()
        return f"{year}-W{week:02d}"

    @property
    def begin(self) -> datetime:
        """Monday's midnight there."""
        return _midnight(self.monday, self.zone)

    @property
    def end(self) -> datetime:
        """The next Monday's, seven days by the calendar: an hour more or less where clocks move."""
        return _midnight(self.monday + timedelta(days=7), self.zone)

    @property
    def sunday(self) -> date:
        """Its last day."""
        return self.monday + timedelta(days=6)

    def beside(self, weeks: int) -> "Week":
        """So many weeks later, or earlier."""
        return Week(self.monday + timedelta(weeks=weeks), self.zone)


def _midnight(day: date, zone: str) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone))
