"""Checks of what people and programs hand to an action; all faults show at once."""

import unicodedata
from datetime import date, timedelta

from django.utils import timezone

from audit.errors import Invalid, Problem

EARLIEST = date(2000, 1, 1)
LINE_BREAKS = "\n\r\t"


def printable(text: str, *, lines: bool = True) -> bool:
    """Whether PostgreSQL and a printer can take it: no control characters, no half surrogates."""
    allowed = LINE_BREAKS if lines else ""
    return all(mark in allowed or unicodedata.category(mark) not in {"Cc", "Cs"} for mark in text)


class Checks:
    """Collects problems; `done` raises them together."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def text(
        self, field: str, value: object, *, most: int, required: bool = True, lines: bool = False
    ) -> str:
        """The text without outer blanks; a problem if it is missing, too long or not printable."""
        text = value.strip() if isinstance(value, str) else ""
        fits = isinstance(value, str) and len(text) <= most and printable(text, lines=lines)
        if not fits or (required and not text):
            kind = "text" if lines else "one line of text"
            self.problems.append(Problem(field, value, f"{kind}, at most {most} characters"))
        return text

    def whole(self, field: str, value: object, low: int, high: int, what: str = "") -> int:
        """The whole number; a problem if it lies outside."""
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            allowed = f"a whole number{what} from {low} to {high}"
            self.problems.append(Problem(field, value, allowed))
            return low
        return value

    def past_day(self, field: str, value: object) -> date:
        """The day; a problem if it lies ahead everywhere on Earth, or before any lot in use."""
        latest = timezone.now().date() + timedelta(days=1)
        if not isinstance(value, date) or not EARLIEST <= value <= latest:
            self.problems.append(Problem(field, value, f"a day from {EARLIEST} to today"))
            return EARLIEST
        return value

    def that(self, holds: object, field: str, value: object, allowed: str) -> None:
        """A problem unless `holds`."""
        if not holds:
            self.problems.append(Problem(field, value, allowed))

    def done(self) -> None:
        """Raise Invalid with every problem found."""
        if self.problems:
            raise Invalid.of(self.problems)
