"""What is wrong with a file, line by line."""

from collections.abc import Sequence
from dataclasses import dataclass

from audit.errors import Invalid, Problem, shown


@dataclass(frozen=True, slots=True)
class Fault:
    """One value that can't be used: the line and field it stands in, and what is allowed."""

    line: int
    field: str
    value: object
    allowed: str

    @property
    def shown(self) -> str:
        """The value as it may be repeated on a page."""
        return shown(self.value if self.value is not None else "")

    @property
    def problem(self) -> Problem:
        """The same as an action tells it."""
        return Problem(f"line {self.line}, {self.field}", self.value, self.allowed)


def invalid(faults: Sequence[Fault]) -> Invalid:
    """One error for all of them."""
    return Invalid.of([fault.problem for fault in faults])
