"""Finding what an entry is about by the name people know it by."""

from collections.abc import Iterator
from dataclasses import dataclass

from audit.registry import SubjectKind, registry
from audit.subject import Subject

MOST = 10  # candidates shown of one kind


@dataclass(frozen=True, slots=True)
class Candidate:
    """A subject whose name fits what was typed."""

    subject: Subject
    word: str


def candidates(text: str, type_: str = "") -> list[Candidate]:
    """Subjects of a type (or of every type that can be searched) whose name fits the text."""
    kinds = [kind for kind in registry.subjects.values() if type_ in ("", kind.type)]
    return [candidate for kind in kinds for candidate in _of(kind, text)]


def _of(kind: SubjectKind, text: str) -> Iterator[Candidate]:
    if kind.find:
        for found, (pk, label) in enumerate(kind.find(text)):
            if found == MOST:
                return
            yield Candidate(Subject(kind.type, pk, label), kind.word)
