"""Endpoints with lists: a page at a time, narrowed by what the address asks."""

from collections.abc import Callable
from typing import Any, TypeVar

from django.db.models import Model, QuerySet
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer

from audit.errors import Invalid, NotFound
from web.api import GuardedView
from web.paging import KeysetPagination

M = TypeVar("M", bound=Model)
Rows = Any  # a queryset


class Listing(GuardedView):
    """An endpoint with a list, a page at a time."""

    pagination_class = KeysetPagination

    def listed(self, rows: Rows, serializer: type[Serializer[Any]]) -> Response:
        """One page of the rows by key."""
        pages = KeysetPagination()
        page: list[Any] = pages.paginate_queryset(rows, self.request, self) or []
        return pages.get_paginated_response(serializer(page, many=True).data)


def narrowed(rows: Rows, request: Request, **filters: str) -> Rows:
    """Rows narrowed by what the address asks: parameter name -> field.

    Raises Invalid for what cannot be an id or a code.
    """
    for name, field in filters.items():
        asked = request.query_params.get(name)
        if asked is not None:
            value = KINDS.get(name, _id)(name, asked)
            rows = rows.filter(**{field: value})
    return rows


def _code(name: str, text: str) -> str:
    if not text.isprintable() or len(text) > 20:
        raise Invalid(name, text, "a site's code")
    return text


def _id(name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 18):
        raise Invalid(name, text, "an id, as the lists give it")
    return int(text)


KINDS: dict[str, Callable[[str, str], int | str]] = {"site": _code}


def named(rows: "QuerySet[M]", field: str, value: object, **by: object) -> M:
    """What a body refers to. Raises Invalid where there is none, or none for this person."""
    found = rows.filter(**by).first()
    if found is None:
        raise Invalid(field, value, "one that is there and that your role covers")
    return found


def found(rows: "QuerySet[M]", **by: object) -> M:
    """What an address names. Raises NotFound."""
    row = rows.filter(**by).first()
    if row is None:
        raise NotFound("There is nothing here, or not for you.")
    return row
