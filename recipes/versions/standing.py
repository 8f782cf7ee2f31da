"""Where a recipe is in force now, what waits for it, and what every slot number holds."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib.postgres.aggregates import ArrayAgg
from django.db.models import Count

from people.persons.models import User
from people.persons.verbs import Verb
from recipes.coffees.models import Recipe
from recipes.versions.models import Version
from stations.equipment.models import Slot
from stations.slots.models import Placement
from web.printing import counted

SHOWN = 40  # sites; more are only counted
BY_HAND, UNSIGNED, EMPTY = "set by hand", "no approved version", "empty"


@dataclass(frozen=True, slots=True)
class AtSite:
    """One version of a recipe as it is in force at one site."""

    site_id: int
    site: str
    version: Version
    slots: int
    numbers: Sequence[int]  # of the slots that hold it


@dataclass(frozen=True)
class Standing:
    """Where a recipe is in force, at the sites that somebody covers."""

    rows: list[AtSite]

    @property
    def slots(self) -> int:
        """How many slots hold one of its versions."""
        return sum(row.slots for row in self.rows)

    @property
    def words(self) -> str:
        """'22 slots at 5 sites'; empty where it is in force nowhere."""
        sites = len({row.site_id for row in self.rows})
        return f"{counted(self.slots, 'slot')} at {counted(sites, 'site')}" if sites else ""

    @property
    def shown(self) -> list[AtSite]:
        """As many rows as somebody reads."""
        return self.rows[:SHOWN]

    @property
    def more(self) -> int:
        """How many rows are left out of them."""
        return max(0, len(self.rows) - SHOWN)


def standing(recipe: Recipe, user: User, verb: Verb) -> Standing:
    """Where it is in force, at the sites where they may do this: two queries."""
    known = {
        version.content_digest: version
        for version in Version.objects.with_recipe().filter(recipe=recipe).sealed()
        if version.signature_id
    }
    held = Placement.objects.covered_by(user, verb).in_force()
    rows = (
        held.filter(settings__content_digest__in=known)
        .values("site_id", "site__name", "settings__content_digest")
        .annotate(slots=Count("pk"), numbers=ArrayAgg("slot__number", distinct=True))
        .order_by("site__name", "site_id")
    )
    found = [
        AtSite(
            row["site_id"], row["site__name"], known[row["settings__content_digest"]],
            row["slots"], row["numbers"],
        )
        for row in rows
    ]  # fmt: skip
    return Standing(sorted(found, key=lambda row: (row.site, row.site_id, -row.version.number)))


# What is on its way to slots is known above, where versions are published.

Waiting = Callable[[Recipe, User], Sequence[Any]]
_waiting: list[Waiting] = []


def register_waiting(lookup: Waiting) -> None:
    """Called once, when the program starts: who knows what of a recipe is on its way."""
    _waiting.append(lookup)


def on_its_way(recipe: Recipe, user: User) -> list[Any]:
    """Publications of it that are not complete, with their progress, the newest first."""
    return [each for lookup in _waiting for each in lookup(recipe, user)]


# What the slots of each number hold: nobody publishes by numbers from memory.


@dataclass(frozen=True, slots=True)
class Numbered:
    """The slots of one number: how many there are, and what is in force in them."""

    number: int
    slots: int
    held: list[tuple[str, int]]  # what, and in how many; the most first

    @property
    def words(self) -> str:
        """'Morning blend · Double in 20, empty in 2'."""
        return ", ".join(f"{what} in {count:,}" for what, count in self.held)


def by_number(user: User, verb: Verb) -> list[Numbered]:
    """Every slot number at the sites where they may do this: three queries."""
    there = Slot.objects.covered_by(user, verb).order_by()
    total = dict(there.values_list("number").annotate(Count("pk")))
    held = Placement.objects.covered_by(user, verb).in_force().order_by()
    rows: list[tuple[int, str, str, int]] = list(
        held.values_list("slot__number", "settings__content_digest", "manner").annotate(Count("pk"))
    )
    recipes = _recipes({digest for _, digest, _, _ in rows} - {""})
    return [_numbered(number, total[number], rows, recipes) for number in sorted(total)]


def _recipes(digests: Iterable[str]) -> dict[str, str]:
    signed = Version.objects.signed_as(list(digests)).select_related("recipe__coffee")
    return {version.content_digest: str(version.recipe) for version in signed}


def _numbered(number: int, slots: int, rows: Iterable[Any], recipes: dict[str, str]) -> Numbered:
    counts: dict[str, int] = {}
    for at, digest, manner, count in rows:
        if at == number:
            by_hand = manner == Placement.Manner.BY_HAND
            what = BY_HAND if by_hand else recipes.get(digest, UNSIGNED)
            counts[what] = counts.get(what, 0) + count
    held = sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))
    empty = slots - sum(counts.values())
    return Numbered(number, slots, [*held, (EMPTY, empty)] if empty else held)
