"""What every endpoint is made of: nothing in an address's query is silently left out.

A query that was misspelt, or came empty out of somebody's program, would otherwise be answered
with more than was asked for. What an endpoint takes is declared once, as `query`: the check reads
it, and so does the description of the API (web.schema).
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, ClassVar

from django.http import QueryDict
from drf_spectacular.utils import OpenApiParameter
from rest_framework.pagination import BasePagination
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.serializers import Serializer
from rest_framework.views import APIView

from audit.errors import Invalid, Problem

Query = type[Serializer[Any]] | Sequence[OpenApiParameter]
TOLD = 10  # problems of one query that are told; more would only make the answer long


class Endpoint(APIView):
    """Takes what `query` declares and, where it is a list a page at a time, the place in it.

    `query` is a serializer, or parameters with a description each; it is what GET takes. Nothing
    else takes any.
    """

    query: ClassVar[Query] = ()
    pagination_class: ClassVar[type[BasePagination] | None] = None

    def initial(self, request: Request, *args: object, **kwargs: object) -> None:
        """Who asks and whether they may comes first. Raises Invalid naming each parameter."""
        super().initial(request, *args, **kwargs)
        looks = request.method in SAFE_METHODS
        refuse_unasked(request.query_params, self.takes() if looks else {})

    @classmethod
    def takes(cls) -> Mapping[str, str]:
        """The parameters of its query, each with what is allowed for it."""
        page = cls.pagination_class
        paging = page().get_schema_operation_parameters(cls()) if page else []
        return described(cls.query) | {each["name"]: each["description"] for each in paging}


def described(query: Query) -> dict[str, str]:
    """Each declared parameter with what is allowed for it."""
    if isinstance(query, type):
        fields = query().fields
        return {name: str(field.help_text or field.label or "") for name, field in fields.items()}
    return {each.name: str(each.description) for each in query}


def refuse_unasked(sent: QueryDict, takes: Iterable[str], *, empty: bool = False) -> None:
    """Raises Invalid for a parameter that is not taken, is given twice or, unless `empty`, empty.

    A form sends its empty fields as well: there they mean that nothing was chosen. `takes` may
    map each name to what is allowed for it.
    """
    allowed = takes if isinstance(takes, Mapping) else dict.fromkeys(takes, "")
    problems = []
    for name, values in sent.lists():
        if name not in allowed:
            problems.append(Problem(name, values[-1], _instead(allowed)))
        elif len(values) > 1:
            problems.append(Problem(name, ", ".join(values), "it once"))
        elif not (empty or values[0].strip()):
            problems.append(Problem(name, "", allowed[name] or "a value, or leave it out"))
    if problems:
        raise Invalid.of(problems[:TOLD])


def _instead(takes: Iterable[str]) -> str:
    names = ", ".join(takes)
    return f"in a query here: {names}" if names else "no query at this address"
