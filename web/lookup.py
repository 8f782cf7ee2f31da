"""One row by what an address or a body names; none where there is none, or none for this person.

The rows are already narrowed to what the person may see, so the two cannot be told apart. The
history tells them apart: what is there but lies at another site is written down as an attempt.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol, TypeVar, runtime_checkable

from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest

from audit.capture.context import Actor, record_outside
from audit.errors import Invalid, Subject

M = TypeVar("M", bound=Model)
DIGITS = 18  # a row's number has no more


@dataclass(frozen=True, slots=True)
class Outside:
    """What somebody named although it lies at a site that they do not cover."""

    by: Actor
    subject: Subject
    site_id: int


@runtime_checkable
class Narrowed(Protocol):
    """Rows that know for whom they were narrowed to some sites (people.persons.permissions)."""

    def outside(self, by: Mapping[str, object]) -> Outside | None:
        """The thing that these conditions name, if it was left out because of where it lies."""
        ...


def _note_outside(rows: object, by: Mapping[str, object]) -> None:
    """Write it down, for those who read the history; the answer stays the same."""
    found = rows.outside(by) if isinstance(rows, Narrowed) else None
    if found:
        record_outside(by=found.by, subject=found.subject, site_id=found.site_id)


def one_or_404(rows: QuerySet[M], pk: int | None = None, /, **by: object) -> M:
    """What an address names, by its number or another field. Raises Http404."""
    if pk is not None:
        by["pk"] = pk
    assert by, "the first of many is never what was asked for"
    row = rows.filter(**by).first()
    if row is None:
        _note_outside(rows, by)
        raise Http404("There is nothing here, or not for you.")
    return row


def named(
    rows: QuerySet[M],
    field: str,
    value: object,
    /,
    allowed: str = "one that is there and that your role covers",
    **by: object,
) -> M:
    """What a body's field refers to. Raises Invalid, naming the field and what is allowed."""
    row = rows.filter(**by).first()
    if row is None:
        _note_outside(rows, by)
        raise Invalid(field, value, allowed)
    return row


def row_number(text: str, field: str, allowed: str) -> int:
    """A row's number out of text. Raises Invalid where it can be none."""
    if not (text.isascii() and text.isdigit() and len(text) <= DIGITS):
        raise Invalid(field, text, allowed)
    return int(text)


def asked_number(
    request: HttpRequest, name: str, allowed: str = "the number of one that is there"
) -> int:
    """A row's number from the address's query. Raises Invalid where it can be none."""
    return row_number(request.GET.get(name, ""), name, allowed)
