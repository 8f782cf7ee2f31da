"""Endpoints with lists: a page at a time, narrowed by what the address asks."""

from collections.abc import Callable
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer

from audit.errors import Invalid
from web.api import GuardedView
from web.lookup import row_number
from web.paging import KeysetPagination
from web.text import one_line

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
    if not one_line(text, 20):
        raise Invalid(name, text, "a site's code")
    return text


def _id(name: str, text: str) -> int:
    return row_number(text, name, "an id, as the lists give it")


KINDS: dict[str, Callable[[str, str], int | str]] = {"site": _code}
