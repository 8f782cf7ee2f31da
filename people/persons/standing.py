"""Where somebody stands while they act: at a site's tablet their rights end at that site, and what
no more than a PIN vouches for ends sooner.

It is said once a request, and every question about rights goes through it: page, endpoint and
action can't differ, and a person read anew from the database has no more rights than before.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Protocol

from audit.errors import NotPermitted, Subject
from people.persons.verbs import Held

NOT_BY_PIN = "Sign in here in full, with your password or a passkey: a PIN is for the bar's day."
AT_TABLET = "At a tablet only what belongs to its site is done: use a browser of your own."


class PinNotEnough(NotPermitted):
    """Whoever acts may do it, but not by a PIN."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Somebody at a tablet."""

    person_id: int
    site_id: int
    by_pin: bool


@dataclass(frozen=True, slots=True)
class RoleHere:
    """A role as it counts at a tablet: at its site alone."""

    role: str
    site_id: int | None
    by_pin: bool


_standing: ContextVar[Standing | None] = ContextVar("standing", default=None)


@contextmanager
def standing(at: Standing | None) -> Iterator[None]:
    """For as long as the block lasts, that person's rights are those of somebody who is there."""
    token = _standing.set(at)
    try:
        yield
    finally:
        _standing.reset(token)


def standing_of(person_id: int | None) -> Standing | None:
    """Where this person stands; None where nothing is taken from their rights."""
    at = _standing.get()
    return at if at and at.person_id == person_id else None


def where_they_stand(person_id: int, held: Iterable[Held]) -> list[Held]:
    """Those of somebody's roles that count where they stand, no further than there."""
    at = standing_of(person_id)
    if at is None:
        return list(held)
    here = [each for each in held if each.site_id in (None, at.site_id)]
    return [RoleHere(each.role, at.site_id, at.by_pin) for each in here]


def in_full(held: Iterable[Held]) -> list[Held]:
    """The same roles, as they would count after a full sign-in."""
    return [RoleHere(each.role, each.site_id, by_pin=False) for each in held]


class Person(Protocol):
    """As far as this needs to know one."""

    pk: int


def require_in_full(by: Person, what: str, subject: Subject | None = None) -> None:
    """What needs no role but is never done by a PIN. Raises PinNotEnough."""
    at = standing_of(by.pk)
    if at and at.by_pin:
        raise PinNotEnough(
            f"A PIN is not enough to {what}.",
            how_to_ask=NOT_BY_PIN,
            subject=subject,
            site_id=at.site_id,
        )
