"""What placements are under: the words and addresses of the package above, which registers them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from django.urls import reverse

from stations.slots.models import Placement, PlacementManner

BY_HAND = "by_hand"


@dataclass(frozen=True)
class Basis:
    """One kind of thing that placements are under: its code, name, page and their manner."""

    code: str
    label: str
    manner: PlacementManner
    address: str = ""  # the name of the page of one of them; empty where there is none

    def url(self, basis_id: int | None) -> str:
        """The page of the one that a placement is under; empty where there is none."""
        return reverse(self.address, args=[basis_id]) if self.address and basis_id else ""


_BASES: dict[str, Basis] = {}
WORDS: dict[str, str] = {}  # each code with its name


def register(basis: Basis) -> None:
    """Called once for each kind, when the program starts."""
    _BASES[basis.code] = basis
    WORDS[basis.code] = basis.label


def basis_of(placement: Placement) -> Basis:
    """What a placement is under; under its bare code where nobody registered that."""
    manner = PlacementManner(placement.manner)
    return _BASES.get(placement.basis) or Basis(placement.basis, placement.basis, manner)


def who_may_change() -> str:
    """Who changes what a locked slot holds, in the words of those who registered how."""
    ways = (PlacementManner.TAKES_OVER, PlacementManner.STEPS_IN)
    labels = " or a ".join(each.label for each in _BASES.values() if each.manner in ways)
    return f"A head roaster changes it, with a {labels}."


# What scheduled placements wait for beside their moment, in words, by placement.
Waiting = Callable[[Sequence[Placement]], Mapping[int, str]]

_WAITING: list[Waiting] = []


def register_waiting(waiting: Waiting) -> None:
    """Called when the program starts, by whoever schedules for more than a moment."""
    _WAITING.append(waiting)


def say_waiting(placements: Sequence[Placement]) -> None:
    """Give each of them the words for what it waits for: ``waits_for``, empty for a moment."""
    found = {pk: words for waiting in _WAITING for pk, words in waiting(placements).items()}
    for placement in placements:
        placement.waits_for = found.get(placement.pk, "")


# What placements are part of, in words, by placement: told by whoever signs several things as one.
Naming = Callable[[Sequence[Placement]], Mapping[int, str]]

_NAMING: list[Naming] = []


def register_naming(naming: Naming) -> None:
    """Called when the program starts, by whoever has placements that are part of something."""
    _NAMING.append(naming)


def say_part_of(placements: Sequence[Placement]) -> None:
    """Give each of them the words for what it is part of: ``part_of``, empty for nothing."""
    found = {pk: words for naming in _NAMING for pk, words in naming(placements).items()}
    for placement in placements:
        placement.part_of = found.get(placement.pk, "")


register(Basis(BY_HAND, "set by hand", PlacementManner.BY_HAND))
