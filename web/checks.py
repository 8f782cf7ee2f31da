"""Checking what was entered: every fault is collected, so that all are told at once."""

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from decimal import Decimal
from zoneinfo import available_timezones

from django.db import IntegrityError, transaction

from audit.errors import Invalid, Problem
from web.numbers import BadNumber, Bounds, read_number

NAME_LENGTH = 80
ZONES = frozenset(available_timezones())
ZONE_WORDS = "a time zone by its IANA name, such as Europe/Lisbon"


class Checks:
    """Reads values and keeps a list of what cannot be used; `done` raises if there is any."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def fault(self, field: str, value: object, allowed: str) -> None:
        """Note one fault."""
        self.problems.append(Problem(field, value, allowed))

    def text(self, field: str, value: object, *, longest: int = NAME_LENGTH) -> str:
        """Text of one line, its outer blanks removed."""
        text = str(value or "").strip()
        if not text or len(text) > longest or not text.isprintable():
            self.fault(field, value, f"one line of text, up to {longest} characters")
        return text

    def number(self, field: str, value: object, bounds: Bounds) -> Decimal:
        """An exact number within bounds; zero stands in for one that is not."""
        try:
            return read_number(_written_out(value), bounds)
        except BadNumber:
            self.fault(field, value, bounds.words())
            return Decimal(0)

    def number_or_none(self, field: str, value: object, bounds: Bounds) -> Decimal | None:
        """The same where nothing may be given."""
        empty = value is None or str(value).strip() == ""
        return None if empty else self.number(field, value, bounds)

    def whole(self, field: str, value: object, bounds: Bounds) -> int:
        """A whole number within bounds."""
        return int(self.number(field, value, bounds))

    def choice(self, field: str, value: object, choices: Collection[str], allowed: str = "") -> str:
        """One of several words."""
        text = str(value or "").strip()
        if text not in choices:
            self.fault(field, value, allowed or f"one of {', '.join(sorted(choices))}")
        return text

    def zone(self, field: str, value: object) -> str:
        """A time zone of the IANA database."""
        return self.choice(field, value, ZONES, ZONE_WORDS)

    def done(self) -> None:
        """Raise Invalid with all that was found, if anything was."""
        if self.problems:
            raise Invalid.of(self.problems)


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
