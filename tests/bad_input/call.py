"""One endpoint of the sweep, and what its table is written with."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from django.utils import timezone

from tests.bad_input.things import Things
from tests.cast import PASSWORD

NOWHERE = 10**9
FOREIGN: Sequence[Any] = (0, -1, NOWHERE, 2**63, 10**30, "x", "1; DROP", [], {}, True, 1.5)
Body = Callable[[Things], Any]
Values = Mapping[str, Sequence[Any]]


@dataclass(frozen=True)
class Call:
    """One endpoint with one method. Its thing is the world's, unless `pk` says otherwise."""

    method: str
    name: str
    who: str
    body: Body
    thing: str = ""
    pk: Callable[[Things], Any] | None = None
    also: Values = field(default_factory=dict)  # further bad values, by place
    fine: Values = field(default_factory=dict)  # values of a bad kind that are allowed there
    named: tuple[str, ...] = ()  # other words by which a refusal may name the place
    good: int = 200  # what the body is answered with

    @property
    def id(self) -> str:
        """For messages."""
        return f"{self.method} {self.name}"


def ends_at(days: float = 2) -> str:
    """A moment ahead."""
    return (datetime.now(UTC) + timedelta(days=days)).replace(microsecond=0).isoformat()


def day(days: int) -> str:
    """A day from today."""
    return (timezone.now().date() + timedelta(days=days)).isoformat()


def signed(t: Things, who: str, **rest: object) -> dict[str, Any]:
    """A body with a signature."""
    return {**rest, "email": t.who(who).email, "password": PASSWORD}


REASON: Values = {"reason": ["", " "]}
SIGNATURE: Values = {"password": ["", "wrong"], "email": ["barista@example.com"]}
