"""Choosing a site or a person by name: suggestions while it is typed, and who is meant by it.

No page lists all of them: there may be a thousand sites, and the page costs the same.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

from django.db.models import Case, Model, QuerySet, Value, When

from audit.registry import NameLookup, Scope

MOST = 20  # suggestions
LONGEST = 120  # characters of a name


def lookup_in(rows: Callable[[], QuerySet[Any]], *, everywhere: bool = False) -> NameLookup:
    """The names of a table with a column `name`; a scope holds the ids that may be named.

    With `everywhere` it is not about these ids: all may be named.
    """

    def within(scope: Scope) -> QuerySet[Any]:
        return rows() if scope is None or everywhere else rows().filter(pk__in=scope)

    def fitting(text: str, scope: Scope, most: int) -> Sequence[tuple[int, str]]:
        if not text:
            return _pairs(within(scope).order_by("name")[:most])
        exactly = Case(When(name__iexact=text, then=Value(0)), default=Value(1))
        return _pairs(within(scope).filter(name__icontains=text).order_by(exactly, "name")[:most])

    def of(ids: Collection[int], scope: Scope) -> Mapping[int, str]:
        return dict(_pairs(within(scope).filter(pk__in=ids)))

    return NameLookup(fitting, of)


def _pairs(rows: QuerySet[Model]) -> list[tuple[int, str]]:
    return list(rows.values_list("pk", "name"))


def meant(names: NameLookup, text: str, scope: Scope) -> list[tuple[int, str]]:
    """Who or what a text can mean: one by its number or whole name, else all it may be."""
    if text.isascii() and text.isdigit() and len(text) < len(str(2**63)):
        named = names.of([int(text)], scope)
        if named:
            return list(named.items())
    found = list(names.fitting(text, scope, MOST))
    whole = [pair for pair in found if pair[1].casefold() == text.casefold()]
    return whole or found
