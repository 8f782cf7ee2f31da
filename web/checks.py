"""Checks of what people and programs hand to an action: all faults show at once."""

from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from datetime import date, timedelta
from decimal import Decimal
from zoneinfo import available_timezones

from django.db import IntegrityError, transaction
from django.utils import timezone

from audit.errors import Invalid, Problem
from web import units
from web.numbers import BadNumber, Bounds, bounds_in, read_number, read_typed
from web.printing import number
from web.text import printable, saying_where

NAME_LENGTH = 80  # characters
EARLIEST = date(2000, 1, 1)
ZONES = frozenset(available_timezones())
ZONE_WORDS = "a time zone by its IANA name, such as Europe/Lisbon"


class Checks:
    """Reads values and keeps what cannot be used; `done` raises if there is any.

    Where a value cannot be used, something harmless of its type stands in for it. `typed` by a
    person, numbers may have a decimal comma; they stand as typed then, in the unit of their bounds.
    Others are as they are stored, and are told in the unit of whoever reads.
    """

    def __init__(self, *, typed: bool = False) -> None:
        self.problems: list[Problem] = []
        self._written = typed
        self._read = read_typed if typed else read_number

    def fault(self, field: str, value: object, allowed: str) -> None:
        """Note one fault."""
        self.problems.append(Problem(field, value, allowed))

    def that(self, holds: object, field: str, value: object, allowed: str) -> None:
        """A fault unless `holds`."""
        if not holds:
            self.fault(field, value, allowed)

    def text(
        self,
        field: str,
        value: object,
        *,
        most: int = NAME_LENGTH,
        required: bool = True,
        lines: bool = False,
    ) -> str:
        """The text without outer blanks; a fault if it is missing, too long or not printable."""
        text = value.strip() if isinstance(value, str) else ""
        fits = isinstance(value, str) and len(text) <= most and printable(text, lines=lines)
        if not fits or (required and not text):
            kind = "text" if lines else "one line of text"
            kind = saying_where(kind, value if isinstance(value, str) else "")
            self.fault(field, value, f"{kind}, at most {most} characters")
        return text

    def number(self, field: str, value: object, bounds: Bounds) -> Decimal:
        """An exact number within bounds."""
        try:
            return self._read(_written_out(value), bounds)
        except BadNumber:
            self.problems.append(self.refused(field, value, bounds))
            return Decimal(0)

    def refused(self, field: str, value: object, bounds: Bounds) -> Problem:
        """A figure and its bounds as they are told."""
        if self._written:
            return Problem(field, value, bounds.words())
        return outside(field, value, bounds)

    def number_or_none(self, field: str, value: object, bounds: Bounds) -> Decimal | None:
        """The same where nothing may be given."""
        empty = value is None or str(value).strip() == ""
        return None if empty else self.number(field, value, bounds)

    def whole(self, field: str, value: object, low: int, high: int, what: str = "") -> int:
        """A whole number from `low` to `high`; `what` it counts, for the sentence."""
        if isinstance(value, Decimal) and value == value.to_integral_value():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.fault(field, value, f"a whole number{what} from {low} to {high}")
            return low
        return value

    def choice(self, field: str, value: object, choices: Collection[str], allowed: str = "") -> str:
        """One of several words."""
        text = str(value or "").strip()
        if text not in choices:
            self.fault(field, value, allowed or f"one of {', '.join(sorted(choices))}")
        return text

    def zone(self, field: str, value: object) -> str:
        """A time zone of the IANA database."""
        return self.choice(field, value, ZONES, ZONE_WORDS)

    def past_day(self, field: str, value: object) -> date:
        """The day; a fault if it lies ahead everywhere on Earth, or before any lot in use."""
        latest = timezone.now().date() + timedelta(days=1)
        if not isinstance(value, date) or not EARLIEST <= value <= latest:
            self.fault(field, value, f"a day from {EARLIEST} to today")
            return EARLIEST
        return value

    def done(self) -> None:
        """Raise Invalid with every fault found."""
        if self.problems:
            raise Invalid.of(self.problems)


def outside(field: str, value: object, bounds: Bounds) -> Problem:
    """A figure that its bounds refuse, and these: in the unit that whoever reads types in."""
    unit = units.chosen().typed_in(bounds.unit)
    if unit != bounds.unit:
        with suppress(BadNumber, ArithmeticError):  # no figure in any unit
            value = number(units.read(read_number(_written_out(value)), unit))
    return Problem(field, value, allowance(bounds))


def allowance(bounds: Bounds) -> str:
    """Bounds in words, in that unit."""
    unit = units.chosen().typed_in(bounds.unit)
    return (bounds if unit == bounds.unit else bounds_in(unit, bounds)).words()


def _written_out(value: object) -> object:
    """A decimal without its exponent; a monstrous exponent stays, to be refused."""
    plain = isinstance(value, Decimal) and value.is_finite() and abs(value.adjusted()) < 40
    return format(value, "f") if plain else value


@contextmanager
def taken(**constraints: Problem) -> Iterator[None]:
    """Turn the database's refusal of a duplicate into Invalid, by the constraint's name.

    The database decides, not a look beforehand: between a look and a write another may write.
    """
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        diagnosis = getattr(error.__cause__, "diag", None)
        problem = constraints.get(getattr(diagnosis, "constraint_name", None) or "")
        if problem is None:
            raise
        raise Invalid.of([problem]) from error
