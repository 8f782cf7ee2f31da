"""What a chart carries over from earlier signed contents of the same recipe, and what ends it.

Stations don't know what a content says: whoever does registers how to find what came before it.
Which differences matter to which measured value is said here. Coffee and drink are the recipe's
own, so that no version changes them; a tolerance moves no limit of a chart.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal

from stations.equipment.models import Station
from stations.metrology.formula import BASKET, BEVERAGE, DOSE, ENDS_BY, IN_CUP, SHOT_TIME, WATER
from stations.shots.models import CheckShot
from web.printing import quantity

SHOWN = 200  # the newest shots that are charted
# What follows from the rest of a recipe, unless the shot ends by it.
OUTCOMES = frozenset((BEVERAGE, SHOT_TIME, WATER))
# What each value rests on, in the words of the page; a yield only where no time ends the shot.
EVERYTHING = "everything the recipe states, but for what only follows from it"
RESTS_ON = {
    DOSE: "dose and basket",
    BEVERAGE: "dose, basket, what ends the shot and at how much",
    SHOT_TIME: EVERYTHING,
    "strength": EVERYTHING,
}
assert RESTS_ON.keys() >= set(IN_CUP)


@dataclass(frozen=True, slots=True)
class Change:
    """What a later content states otherwise of one parameter; None where nothing is stated."""

    code: str
    label: str
    unit: str
    was: Decimal | str | None
    now: Decimal | str | None

    @property
    def words(self) -> str:
        """Such as 'dose 18 g → 19 g'."""
        return f"{self.label.lower()} {self._said(self.was)} → {self._said(self.now)}"

    def _said(self, value: Decimal | str | None) -> str:
        if value is None:
            return "not stated"
        return value if isinstance(value, str) else quantity(value, self.unit)


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier content, what changed from it to the later one, and what ends the shot in either.

    ``ends_at``: the codes of the amounts at which it ends, or which somebody aims at.
    """

    content_digest: str
    title: str
    changes: tuple[Change, ...]
    ends_at: frozenset[str]

    def mattering(self, code: str) -> tuple[Change, ...]:
        """Those changes that the measured value rests on."""
        return tuple(each for each in self.changes if self._matters(code, each.code))

    @property
    def flows_until(self) -> bool:
        """Whether the clock alone ends the shot, so that the yield is whatever has flowed by then.

        Pressure, temperature and grind make it as much as the time does.
        """
        return SHOT_TIME in self.ends_at and BEVERAGE not in self.ends_at

    def _matters(self, code: str, changed: str) -> bool:
        if code == DOSE:
            return changed in {DOSE, BASKET}
        if code == BEVERAGE and not self.flows_until:
            return changed in {DOSE, BASKET, ENDS_BY, *self.ends_at}
        return changed not in OUTCOMES - self.ends_at


Finding = Callable[[Station, str], Sequence[Earlier]]
_FINDING: list[Finding] = []


def register(finding: Finding) -> None:
    """Called when the program starts, by who knows what contents say; the newest comes first."""
    _FINDING.append(finding)


def earlier_at(
    station: Station, content_digest: str, brewed: Collection[str] | None = None
) -> list[Earlier]:
    """What came before that content and was brewed at the station, the newest first.

    ``brewed``: the contents that were, where they are at hand; else they are asked for.
    """
    if brewed is not None and len(brewed) < 2:
        return []  # nothing but itself
    found = [one for finding in _FINDING for one in finding(station, content_digest)]
    if not found:
        return []
    there = contents_of(station) if brewed is None else brewed
    return [one for one in found if one.content_digest in there]


def contents_of(station: Station) -> dict[str, str]:
    """Digest and title of every signed content that was brewed there, the newest first."""
    rows = CheckShot.objects.exclude(placement__settings__content_digest="")
    pairs = rows.newest_at(station.slots.all(), SHOWN).values_list(
        "placement__settings__content_digest", "placement__settings__title"
    )
    found: dict[str, str] = {}
    for digest, title in pairs:
        found.setdefault(digest, title)
    return found


@dataclass(frozen=True, slots=True)
class Lineage:
    """The contents whose shots make one chart, and why no earlier ones are among them.

    ``ended`` is the newest earlier content that differs in what the value rests on, by
    ``changes``; None where there is none.
    """

    content_digest: str
    carried: tuple[Earlier, ...] = ()
    ended: Earlier | None = None
    changes: tuple[Change, ...] = ()

    @property
    def digests(self) -> list[str]:
        """Its own content and those carried over from, the newest first."""
        return [self.content_digest, *(one.content_digest for one in self.carried)]

    def rests_on(self, code: str) -> str:
        """What the value rests on here, in words."""
        others = [*self.carried, *([self.ended] if self.ended else [])]
        flows = code == BEVERAGE and any(one.flows_until for one in others)
        return EVERYTHING if flows else RESTS_ON[code]

    @property
    def why_anew(self) -> str:
        """What the chart starts anew by, in words; empty where nothing ended it."""
        return ", ".join(each.words for each in self.changes)


def lineage_of(content_digest: str, earlier: Sequence[Earlier], code: str) -> Lineage:
    """Back through what was brewed before, to the first that differs in what the value rests on."""
    carried: list[Earlier] = []
    for one in earlier:
        if changes := one.mattering(code):
            return Lineage(content_digest, tuple(carried), one, changes)
        carried.append(one)
    return Lineage(content_digest, tuple(carried))
