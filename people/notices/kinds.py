"""The kinds of matters people may hear of; each is registered by the package that finds them.

A matter is one thing worth hearing of, under a key that stays the same as long as it lasts. It is
read off what the tables say, not noted as things happen: what was missed once is found the next
time, and what is over is gone by itself.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import models

from people.persons.verbs import MAY, Role, Verb


class How(models.TextChoices):
    """How soon somebody hears of a kind, and by which way; never by two."""

    AT_ONCE = "at_once", "At once, by mail"
    PUSH = "push", "At once, on my devices"
    DAILY = "daily", "Once a day, by mail"
    WEEKLY = "weekly", "Once a week, by mail"
    OFF = "off", "Not at all"


class AtLeast(models.TextChoices):
    """The least an owner may ask for."""

    AT_ONCE = "at_once", "At once"
    DAILY = "daily", "Once a day"
    WEEKLY = "weekly", "Once a week"


# The lower, the sooner.
RANK = {How.AT_ONCE: 0, How.PUSH: 0, How.DAILY: 1, How.WEEKLY: 2, How.OFF: 3}


def sooner(chosen: str, least: str | None) -> str:
    """What holds of what somebody chose and what an owner asks for at least (None: nothing)."""
    if least is None or RANK[How(chosen)] <= RANK[How(least)]:
        return chosen
    return least


@dataclass(frozen=True, slots=True)
class Found:
    """One matter there is now.

    `sites`: where it lies; None where it is about no one site. `to`: the one person it is for,
    `not_for`: people it is nothing new to, or not for. `since`: when it arose, where that is known:
    whoever opened its page after that has seen it, though nobody had looked for it yet.
    """

    key: str
    title: str
    url: str
    words: str = ""
    sites: tuple[int, ...] | None = None
    to: int | None = None
    not_for: tuple[int, ...] = ()
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind. Whoever may do `hears` where it lies is told, with `everywhere` only at all sites.

    `find` is asked every minute: a fixed number of queries. `page` is the name of the address its
    matters lead to: whoever opens that has seen it. `wait`: how long it has to last until anybody
    is told at once.
    """

    code: str
    label: str
    hears: Verb
    find: Callable[[], Iterable[Found]]
    page: str
    usual: How = How.AT_ONCE
    everywhere: bool = False
    wait: timedelta = timedelta(0)

    @property
    def roles(self) -> frozenset[Role]:
        """Who may."""
        return MAY[self.hears]


_KINDS: dict[str, Kind] = {}


def register_kind(kind: Kind) -> None:
    """Let it be found and told of. Called once, when the program starts."""
    _KINDS[kind.code] = kind


def kinds() -> dict[str, Kind]:
    """All kinds by their codes, in the order in which they were registered."""
    return dict(_KINDS)


def watched_pages() -> frozenset[str]:
    """The names of addresses that matters lead to."""
    return frozenset(kind.page for kind in _KINDS.values())
