"""One row by what an address or a body names; none where there is none, or none for this person.

The rows are already narrowed to what the person may see, so the two cannot be told apart.
"""

from typing import TypeVar

from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest

from audit.errors import Invalid

M = TypeVar("M", bound=Model)
DIGITS = 18  # a row's number has no more


def one_or_404(rows: QuerySet[M], pk: int | None = None, /, **by: object) -> M:
    """What an address names, by its number or another field. Raises Http404."""
    if pk is not None:
        by["pk"] = pk
    assert by, "the first of many is never what was asked for"
    row = rows.filter(**by).first()
    if row is None:
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
