"""What signing would do, slot by slot: the part that every kind of plan shares."""

import hashlib
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any, ClassVar, Generic, Protocol, TypeVar

import rfc8785

from audit.errors import Refused
from people.persons.verbs import Verb
from people.signatures.models import Meaning
from recipes.translation.translating import StationTranslation
from recipes.versions.models import Version
from stations.slots.models import Placement


class Outcome(StrEnum):
    """What signing does to one slot."""

    PLACE = "place"
    SAME = "same"  # it holds exactly this already
    REFUSE = "refuse"  # it keeps what it holds
    FALL_BACK = "fall_back"  # on permit: what it falls back to when that ends is placed
    LEAVE = "leave"  # it is none of this plan's business


PLACED = (Outcome.PLACE, Outcome.FALL_BACK)


class Row(Protocol):
    """A slot or a placement: the model, or as much of it as a plan for a chain of bars reads."""

    @property
    def pk(self) -> Any:  # noqa: ANN401 - as Django has it
        """Its id."""


SlotT = TypeVar("SlotT", bound=Row)
HeldT = TypeVar("HeldT", bound=Row)


@dataclass(frozen=True, slots=True)
class SlotLine(Generic[SlotT, HeldT]):
    """One slot of a plan: what it should hold now, and what signing does to it.

    What is placed has a version and its translation for the slot's station.
    """

    slot: SlotT
    held: HeldT | None
    outcome: Outcome
    version: Version | None = None
    translation: StationTranslation | None = None
    reasons: tuple[str, ...] = ()


AnyLine = SlotLine[Any, Any]
LineT = TypeVar("LineT", bound=AnyLine)


@dataclass(frozen=True)
class Kind:
    """What tells one kind of plan from the others: what its placements are under, who may sign."""

    basis: Placement.Basis
    meaning: Meaning
    verb: Verb


@dataclass(frozen=True, kw_only=True)
class Plan(ABC, Generic[LineT]):
    """Every slot in question with what signing does to it; ``digest`` binds a signature to it."""

    kind: ClassVar[Kind]
    lines: Sequence[LineT]

    @cached_property
    def to_place(self) -> list[LineT]:
        """The lines that get a placement."""
        return [line for line in self.lines if line.outcome in PLACED]

    @cached_property
    def refused(self) -> list[LineT]:
        """The lines that can have none, with reasons."""
        return self.of(Outcome.REFUSE)

    def of(self, outcome: Outcome) -> list[LineT]:
        """The lines with this outcome."""
        return [line for line in self.lines if line.outcome is outcome]

    def counts(self) -> Counter[Outcome]:
        """How many slots there are of each outcome."""
        return Counter(line.outcome for line in self.lines)

    @cached_property
    @abstractmethod
    def to_acknowledge(self) -> list[str]:
        """What a named person must accept, such as a temperature above boiling."""

    @abstractmethod
    def content(self) -> dict[str, Any]:
        """Everything a signer sees in the plan, as codes and numbers."""

    @abstractmethod
    def hindrance(self) -> Refused | None:
        """Why nobody can sign it as it stands, if so."""

    @cached_property
    def seen(self) -> bytes:
        """The RFC 8785 bytes of everything a signer sees in the plan."""
        return rfc8785.dumps(self.content())

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hex) over it."""
        return hashlib.sha256(self.seen).hexdigest()


def station_of(line: AnyLine) -> StationTranslation:
    """The translation of a line that is placed."""
    if line.translation is None:
        raise RuntimeError("a slot that is placed has its translation")
    return line.translation


def stations_of(lines: Iterable[AnyLine]) -> dict[int, StationTranslation]:
    """The translations of lines that are placed, by station."""
    return {each.station_id: each for each in map(station_of, lines)}
