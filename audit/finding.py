"""Finding what an entry is about by the name people know it by."""

from collections.abc import Iterator
from dataclasses import dataclass

from audit.queries import HistoryFilter, page_of
from audit.registry import SubjectKind, registry
from audit.subject import Subject

MOST = 10  # candidates shown of one kind


@dataclass(frozen=True, slots=True)
class Candidate:
    """A subject whose name fits what was typed."""

    subject: Subject
    word: str


def candidates(text: str, type_: str, scope: frozenset[int] | None) -> list[Candidate]:
    """Subjects of a type (or, for '', of every one that can be searched) whose name fits the text.

    Only those of whose history somebody with that scope may read any: a name is told too.
    """
    kinds = [kind for kind in registry.subjects.values() if type_ in ("", kind.type)]
    found = (candidate for kind in kinds for candidate in _of(kind, text))
    return [each for each in found if scope is None or _told(each.subject, scope)]


def _of(kind: SubjectKind, text: str) -> Iterator[Candidate]:
    if kind.find:
        for found, (pk, label) in enumerate(kind.find(text)):
            if found == MOST:
                return
            yield Candidate(Subject(kind.type, pk, label), kind.word)


def _told(subject: Subject, scope: frozenset[int]) -> bool:
    about = HistoryFilter(subject_type=subject.type, subject_id=subject.id)
    return bool(page_of(about, scope, size=1).entries)
