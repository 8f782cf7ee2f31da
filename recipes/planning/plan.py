"""The three kinds of signed plan, and what signing would do slot by slot: the part all share."""

import hashlib
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any, ClassVar, Generic, Protocol, TypeVar

import rfc8785

from audit.errors import Refused
from people.persons.verbs import Verb
from people.signatures.content import SCHEME
from people.signatures.models import Meaning
from recipes.planning.accepting import Accepted, sentences, to_accept
from recipes.planning.facts import Fact, words
from recipes.translation.translating import StationTranslation
from recipes.versions.models import Version
from stations.slots import bases
from stations.slots.models import PlacementManner

Manner = PlacementManner


@dataclass(frozen=True)
class Kind:
    """What tells one kind of plan from the others: what its placements are under, who may sign."""

    basis: str
    manner: PlacementManner
    meaning: Meaning
    verb: Verb


PUBLICATION = Kind("publication", Manner.TAKES_OVER, Meaning.PUBLISHED, Verb.PUBLICATION_SIGN)
PERMIT = Kind("permit", Manner.STEPS_IN, Meaning.PERMITTED, Verb.PERMIT_GRANT)
RE_TRANSLATION = Kind(
    "re_translation", Manner.RENEWS, Meaning.RE_TRANSLATED, Verb.CALIBRATION_RECORD
)

LABELS = (
    (PUBLICATION, "publication", "recipes:publication"),
    (PERMIT, "deviation permit", "recipes:permit"),
    (RE_TRANSLATION, "re-translation after calibration", "recipes:calibration"),
)


def register() -> None:
    """Called once, when the program starts."""
    for kind, label, address in LABELS:
        bases.register(bases.Basis(kind.basis, label, kind.manner, address))


# A plan: what signing would do, slot by slot.


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
    facts: tuple[Fact, ...] = ()

    @property
    def reasons(self) -> tuple[str, ...]:
        """What is said of the slot, in sentences."""
        return tuple(map(words, self.facts))


AnyLine = SlotLine[Any, Any]
LineT = TypeVar("LineT", bound=AnyLine)


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
    def accepted(self) -> list[Accepted]:
        """What a named person must accept, such as a temperature above boiling, as facts."""
        return to_accept(stations_of(self.to_place))

    @property
    def to_acknowledge(self) -> list[str]:
        """The same in sentences, headed by the names of the sites."""
        return sentences(self.accepted, self.site_names)

    @property
    @abstractmethod
    def site_names(self) -> Mapping[int, str]:
        """The sites it reaches, by id."""

    @abstractmethod
    def content(self) -> dict[str, Any]:
        """What a signer sees in the plan beyond what is accepted, as codes and numbers alone."""

    @abstractmethod
    def hindrance(self) -> Refused | None:
        """Why nobody can sign it as it stands, if so."""

    @cached_property
    def seen(self) -> bytes:
        """The RFC 8785 bytes of everything a signer sees in the plan: facts, no sentences."""
        accepted = [each.as_json() for each in self.accepted]
        return rfc8785.dumps({"scheme": SCHEME, "accepted": accepted, **self.content()})

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hex) over it."""
        return hashlib.sha256(self.seen).hexdigest()


def station_of(line: AnyLine) -> StationTranslation:
    """The translation of a line that is placed."""
    if line.translation is None:
        raise RuntimeError("a slot that is placed has its translation")
    return line.translation


def stations_of(lines: Iterable[AnyLine]) -> list[StationTranslation]:
    """The different translations of lines that are placed."""
    return list({id(each): each for each in map(station_of, lines)}.values())
