"""Which slots a publication is for."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from django.db.models import QuerySet

from audit.errors import Invalid
from people.persons.models import User
from people.persons.verbs import Verb
from recipes.coffees.models import Recipe
from recipes.versions.holding import slots_of_recipe
from stations.equipment.models import Machine, Site, Slot, Station
from stations.equipment.querysets import SlotQuerySet
from stations.metrology.sentences import a_list

MOST_SLOT_NUMBER = 99
MOST_NAMED = 12  # slot numbers, before they are told as a range


class Where(StrEnum):
    """How far a publication reaches."""

    ALL = "all"
    SITES = "sites"
    MACHINES = "machines"
    STATIONS = "stations"


PATHS = {
    Where.SITES: "station__machine__site__in",
    Where.MACHINES: "station__machine__in",
    Where.STATIONS: "station__in",
}


COVERED: dict[Where, Callable[[User], QuerySet[Any]]] = {
    Where.SITES: lambda by: Site.objects.covered_by(by, Verb.PUBLICATION_SIGN),
    Where.MACHINES: lambda by: Machine.objects.covered_by(by, Verb.PUBLICATION_SIGN),
    Where.STATIONS: lambda by: Station.objects.covered_by(by, Verb.PUBLICATION_SIGN),
}


@dataclass(frozen=True)
class Scope:
    """Every slot numbered so at the places named; no numbers means every slot there.

    Where it ``holds`` a recipe (id), only those in which one of that recipe's versions is in force.
    """

    where: Where
    ids: tuple[int, ...] = ()
    slot_numbers: tuple[int, ...] = ()
    holds: int | None = None

    def __post_init__(self) -> None:
        """Raise Invalid for a scope that names nothing, or a slot number no station has."""
        if self.where is not Where.ALL and not self.ids:
            raise Invalid(self.where.value, "", f"at least one of the {self.where.value}")
        for number in self.slot_numbers:
            if not 1 <= number <= MOST_SLOT_NUMBER:
                raise Invalid("slot_numbers", number, f"whole numbers from 1 to {MOST_SLOT_NUMBER}")

    def slots(self, by: User) -> SlotQuerySet:
        """The slots in scope at sites where this person may publish."""
        slots = self._there(by)
        if self.slot_numbers:
            slots = slots.filter(number__in=self.slot_numbers)
        if self.holds is not None:
            slots = slots.filter(pk__in=slots_of_recipe(self.holds))
        return slots

    def _there(self, by: User) -> SlotQuerySet:
        """Every slot at the places named."""
        slots: SlotQuerySet = Slot.objects.covered_by(by, Verb.PUBLICATION_SIGN)
        if self.where is Where.ALL:
            return slots
        return slots.filter(**{PATHS[self.where]: self.ids})

    def must_exist(self, by: User) -> None:
        """Raise Invalid for a slot number that no slot at these places has."""
        if not self.slot_numbers:
            return
        numbers = self._there(by).order_by("number").values_list("number", flat=True).distinct()
        there = list(numbers)
        missing = sorted(set(self.slot_numbers).difference(there))
        if missing:
            allowed = f"the numbers of slots there: {_numbers(there)}"
            raise Invalid("slot_numbers", ", ".join(map(str, missing)), allowed)

    def unknown(self, by: User) -> int | None:
        """The first id that names nothing at a site where this person may publish, if any."""
        if self.where is Where.ALL:
            return None
        places = COVERED[self.where](by).filter(pk__in=self.ids)
        missing = set(self.ids).difference(places.values_list("pk", flat=True))
        return min(missing, default=None)

    def as_json(self) -> dict[str, Any]:
        """The form kept in ``Publication.scope`` and covered by the plan's digest."""
        return {
            "where": self.where.value,
            "ids": sorted(set(self.ids)),
            "slot_numbers": sorted(set(self.slot_numbers)),
            # Named only where there is one: what was signed before keeps its digest.
            **({} if self.holds is None else {"holds": self.holds}),
        }

    def label(self, within: Iterable[Site] | None = None) -> str:
        """The scope in words, with the names that hold today.

        ``within`` are the sites that all of it comes down to, for somebody who covers no others.
        """
        numbers = ", ".join(map(str, sorted(set(self.slot_numbers))))
        slots = f"slot {numbers}" if numbers else "every slot"
        if self.holds is not None:
            recipe = Recipe.objects.select_related("coffee").get(pk=self.holds)
            slots = f"{slots if numbers else ''} wherever {recipe} is in force".lstrip()
        return f"{slots} · {self._places(within)}"

    def _places(self, within: Iterable[Site] | None) -> str:
        if self.where is Where.ALL:
            return "all sites" if within is None else ", ".join(sorted(map(str, within)))
        if self.where is Where.SITES:
            return ", ".join(map(str, Site.objects.filter(pk__in=self.ids)))
        if self.where is Where.MACHINES:
            machines = Machine.objects.filter(pk__in=self.ids).select_related("site")
            return ", ".join(f"{machine.site} · {machine}" for machine in machines)
        stations = Station.objects.filter(pk__in=self.ids).with_equipment()
        return ", ".join(f"{station.machine.site} · {station}" for station in stations)


def scope_from(data: dict[str, Any]) -> Scope:
    """Read an API body; raises Invalid naming what is wrong.

    Which slots is said by numbers, by the recipe they hold, or as every one: never by leaving out.
    """
    where = data.get("where")
    if where not in list(Where):
        raise Invalid("where", where, "one of " + ", ".join(Where))
    ids = _whole_numbers("ids", data)
    if where != Where.ALL and not ids:
        raise Invalid("ids", "", f"at least one of the {where}")
    numbers, holds = _whole_numbers("slot_numbers", data), data.get("holds")
    some = bool(numbers) or holds is not None
    if some and data["every_slot"]:
        raise Invalid("every_slot", True, "true alone, without slot_numbers and holds")
    if not some and not data["every_slot"]:
        allowed = "slot numbers; or else holds, or every_slot as true"
        raise Invalid("slot_numbers", list(numbers), allowed)
    return Scope(Where(where), ids, numbers, holds)


def _numbers(there: list[int]) -> str:
    """'1, 2 and 3', or from the first to the last of many."""
    if len(there) > MOST_NAMED:
        return f"{there[0]} to {there[-1]}"
    return a_list(list(map(str, there))).replace(" or ", " and ")


def _whole_numbers(name: str, data: dict[str, Any]) -> tuple[int, ...]:
    given = data.get(name) or []
    if not isinstance(given, list | tuple) or not all(type(each) is int for each in given):
        raise Invalid(name, given, "a list of whole numbers")
    return tuple(given)
