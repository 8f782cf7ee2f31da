"""The newest rows of each of many things, read by an index so far as is needed and no further."""

from typing import Any, TypeVar

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import BigIntegerField, Func, OuterRef, QuerySet

Rows = TypeVar("Rows", bound=QuerySet[Any])


def newest_of_each(rows: Rows, by: str, among: QuerySet[Any], many: int = 1) -> Rows:
    """The newest ``many`` by ``at`` of those ``rows`` that each of ``among`` has.

    ``by`` is the foreign key from the rows to it, and stands first in an index with ``-at`` and
    ``-id``. DISTINCT ON and window functions read all there are, more every day, to keep these.
    """
    mine = rows.filter(**{by: OuterRef("pk")}).order_by("-at", "-pk").values("pk")[:many]
    keys = Func(ArraySubquery(mine), function="unnest", output_field=BigIntegerField())
    return rows.filter(pk__in=among.order_by().annotate(newest=keys).values("newest"))
