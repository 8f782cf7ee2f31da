"""Pages of a list by key, never by number: as fast on the last page as on the first.

Every list of the API takes the same four: `limit`, `cursor`, `sort` and `fields`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.db import models
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer
from rest_framework.views import APIView

from audit.errors import Invalid
from web.lookup import row_number
from web.text import one_line

NEWEST_FIRST = "-id"
SORTS = (NEWEST_FIRST, "id")
SORT = {
    "name": "sort",
    "required": False,
    "in": "query",
    "description": "-id: newest first, unless asked otherwise; id: oldest first",
    "schema": {"type": "string", "enum": list(SORTS), "default": NEWEST_FIRST},
}
FIELDS = {
    "name": "fields",
    "required": False,
    "in": "query",
    "description": "names of a row's fields with commas between: rows then hold these alone",
    "schema": {"type": "string"},
}


class KeysetPagination(CursorPagination):
    """By id, newest first unless `sort` says otherwise; `limit` rows a page.

    `next` and `previous` are ready addresses: they keep what else was asked.
    """

    ordering = NEWEST_FIRST
    request: Request  # set where the page is read
    page_size = 50
    page_size_query_param = "limit"
    max_page_size = 500

    def get_page_size(self, request: Request) -> int:
        """The wished-for size. Raises ValidationError if it is none from 1 to 500."""
        wished = str(request.query_params.get("limit", ""))
        if not wished:
            return self.page_size
        if not (_whole(wished) and 1 <= int(wished) <= 500):
            raise ValidationError({"limit": "a whole number from 1 to 500"})
        return int(wished)

    def get_ordering(
        self, request: Request, queryset: "models.QuerySet[Any]", view: APIView | None
    ) -> tuple[str, ...]:
        """By the one key that no two rows share. Raises ValidationError for any other."""
        wished = request.query_params.get("sort", NEWEST_FIRST)
        if wished not in SORTS:
            raise ValidationError({"sort": f"one of {', '.join(SORTS)}"})
        return (wished,)

    def answered(self, serializer: type[Serializer[Any]], rows: Iterable[object]) -> Response:
        """The page's rows, each with the fields that were asked for; by default with all.

        What nobody asked for isn't worked out. Raises ValidationError for an unknown field.
        """
        told = serializer(rows, many=True)
        child: Serializer[Any] = told.child  # type: ignore[attr-defined]
        for name in _left_out(child, self.request):
            child.fields.pop(name)
        return self.get_paginated_response(told.data)

    def get_schema_operation_parameters(self, view: APIView) -> list[dict[str, Any]]:
        """What every list takes beside its own filters."""
        return [*super().get_schema_operation_parameters(view), SORT, FIELDS]

    def decode_cursor(self, request: Request) -> Cursor | None:
        """The place in the list. Raises ValidationError for a cursor we did not give out."""
        hint = {"cursor": "the one in `next` or `previous` of an earlier answer"}
        try:
            cursor = super().decode_cursor(request)
        except NotFound as bad:
            raise ValidationError(hint) from bad
        if cursor and cursor.position is not None and not _whole(str(cursor.position)):
            raise ValidationError(hint)
        return cursor


def _left_out(row: Serializer[Any], request: Request) -> set[str]:
    """The fields of a row that `fields` does not name. Raises ValidationError."""
    known, asked = list(row.fields), request.query_params.get("fields")
    if asked is None:
        return set()
    wished = set(asked.split(","))
    if wished - set(known):
        raise ValidationError({"fields": f"of these, with commas between: {', '.join(known)}"})
    return set(known) - wished


def _whole(text: str) -> bool:
    """Digits only, and not more of them than a row's number has."""
    return text.isascii() and text.isdigit() and len(text) <= 18


# Lists by key, never by number: the last page is as fast as the first.

M = TypeVar("M", bound=models.Model)
PER_PAGE = 100


@dataclass(frozen=True)
class Page(Generic[M]):
    """One page of a list; keys are None where the list ends."""

    rows: list[M]
    before: str | None
    after: str | None
    begins: bool


def keyset(
    rows: "models.QuerySet[M]",
    key: str,
    asked: Mapping[str, str],
    *,
    prefix: str = "",
    size: int = PER_PAGE,
) -> Page[M]:
    """The page that ``asked`` names by its ``after`` or ``before``, in the order of ``key``.

    ``key`` is a unique field, "-" in front for newest first; ``prefix`` tells two lists of one
    page apart. Raises Invalid for a key that the field cannot have.
    """
    field = key.lstrip("-")
    after, before = asked.get(f"{prefix}after"), asked.get(f"{prefix}before")
    backwards = before is not None
    at = before if backwards else after
    falling = key.startswith("-") != backwards
    if at is not None:
        value = _value(rows.model, field, at)
        rows = rows.filter(**{f"{field}__{'lt' if falling else 'gt'}": value})
    shown = list(rows.order_by(f"-{field}" if falling else field)[: size + 1])
    more, shown = len(shown) > size, shown[:size]
    if backwards:
        shown.reverse()
    keys = [str(getattr(row, field)) for row in shown]
    has_earlier = more if backwards else at is not None
    has_later = True if backwards else more
    return Page(
        rows=shown,
        before=keys[0] if keys and has_earlier else None,
        after=keys[-1] if keys and has_later else None,
        begins=at is None,
    )


def _value(model: type[models.Model], field: str, text: str) -> Any:  # noqa: ANN401
    kind = model._meta.get_field("id" if field == "pk" else field)
    if isinstance(kind, models.CharField):
        if text and not one_line(text, 200):
            raise Invalid("page", text, "the address of a page that a list linked to")
        return text
    return row_number(text, "page", "the address of a page that a list linked to")
