"""The history over the API: the same questions and the same rules as its pages."""

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from audit.access import scope_of
from audit.api.serializers import EntryPageSerializer, EntrySerializer, WholeEntrySerializer
from audit.errors import Invalid, Problem
from audit.forms import FilterForm
from audit.paging import addresses, key_of
from audit.queries import PAGE, page_of, visible
from audit.retention.shown import absent

MOST = 500

TEXT, DATE, WHOLE = OpenApiTypes.STR, OpenApiTypes.DATE, OpenApiTypes.INT64
PARAMETERS = [
    OpenApiParameter("site", WHOLE, description="entries of this site"),
    OpenApiParameter("about", TEXT, description="kind of the subject"),
    OpenApiParameter("subject", TEXT, description="its name, or with `about` its number"),
    OpenApiParameter("person", WHOLE, description="who acted"),
    OpenApiParameter("action", TEXT, description="what was done"),
    OpenApiParameter("parameter", TEXT, description="code of the parameter"),
    OpenApiParameter("since", DATE, description="first day, in the site's zone, else UTC"),
    OpenApiParameter("until", DATE, description="last day, included"),
    OpenApiParameter("limit", WHOLE, description=f"entries a page, 1 to {MOST}"),
    OpenApiParameter("before", WHOLE, description="entries older than this one"),
    OpenApiParameter("after", WHOLE, description="entries newer than this one"),
]


class HistoryView(APIView):
    """The history, newest first."""

    @extend_schema(
        operation_id="history_list", parameters=PARAMETERS, responses=EntryPageSerializer
    )
    def get(self, request: Request) -> Response:
        """One page by whatever filter; `next` leads to older entries, `previous` to newer."""
        scope = scope_of(request.user)
        query = request.query_params
        form = FilterForm(query, scope)
        _check(form)
        key = key_of(query.dict())
        page = page_of(
            form.wanted(), scope, before=key.before, after=key.after, size=_limit(query.dict())
        )
        near = addresses(request.build_absolute_uri(request.path), query, page)
        body = {
            "next": near["older_url"] or None,
            "previous": near["newer_url"] or None,
            "results": EntrySerializer(page.entries, many=True).data,
        }
        return Response(body)


class EntryView(APIView):
    """One entry."""

    @extend_schema(responses=WholeEntrySerializer)
    def get(self, request: Request, pk: int) -> Response:
        """The entry with its signature."""
        found = visible(scope_of(request.user)).filter(pk=pk).first()
        if found is None:
            raise absent(pk)
        return Response(WholeEntrySerializer(found).data)


def _check(form: FilterForm) -> None:
    """Raises Invalid with every problem of the filter."""
    if form.is_valid():
        return
    problems = [
        Problem(name, form.data.get(name), " ".join(str(text) for text in texts).rstrip("."))
        for name, texts in form.errors.items()
    ]
    raise Invalid.of(problems)


def _limit(query: dict[str, str]) -> int:
    text = query.get("limit", str(PAGE))
    if not (text.isascii() and text.isdigit() and len(text) <= 9 and 1 <= int(text) <= MOST):
        raise Invalid("limit", text, f"a whole number from 1 to {MOST}")
    return int(text)
