"""The history to take away, streamed."""

from collections.abc import Iterator
from itertools import islice

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, QueryDict, StreamingHttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from audit.endpoint import refuse_unasked
from audit.exporting.bundle import bundle
from audit.exporting.filtered import csv_lines, json_lines
from audit.exporting.with_tables import bundle_with_tables
from audit.reading.access import require_every_site, scope_of
from audit.reading.filters import FilterForm
from audit.reading.queries import HistoryFilter

Scope = frozenset[int] | None


JSON_LINES = "application/jsonl"
CSV = "text/csv; charset=utf-8"


@require_safe
@login_required
def json_lines_of(request: HttpRequest) -> StreamingHttpResponse:
    """What the filter finds, one entry a line, in the bytes that are sealed."""
    return download(json_lines(*_asked(request)), JSON_LINES, "jsonl")


@require_safe
@login_required
def csv_of(request: HttpRequest) -> StreamingHttpResponse:
    """What the filter finds, as a table."""
    return download(csv_lines(*_asked(request)), CSV, "csv")


@require_safe
@login_required
def whole(request: HttpRequest) -> StreamingHttpResponse:
    """The whole history as a bundle that can be checked offline. Raises NotPermitted."""
    require_every_site(request.user)
    return download(bundle(), JSON_LINES, "bundle.jsonl")


@require_safe
@login_required
def whole_with_tables(request: HttpRequest) -> StreamingHttpResponse:
    """The same behind the tables as they stand now. Raises NotPermitted."""
    require_every_site(request.user)
    return download(bundle_with_tables(), JSON_LINES, "tables.bundle.jsonl")


def _asked(request: HttpRequest) -> tuple[HistoryFilter, Scope]:
    """The same of a form, whose empty fields are sent as well."""
    scope_of(request.user)
    refuse_unasked(request.GET, FilterForm.base_fields, empty=True)
    return asked(request.GET, request.user)


def asked(query: QueryDict, user: object) -> tuple[HistoryFilter, Scope]:
    """What is asked for, and what they may read. Raises NotPermitted, and Invalid."""
    scope = scope_of(user)
    return FilterForm(query, scope).wanted(), scope


def download(
    lines: Iterator[bytes] | Iterator[str], kind: str, ending: str
) -> StreamingHttpResponse:
    """Stream it as a file named after the moment."""
    name = f"history-{timezone.now():%Y-%m-%d-%H%M}.{ending}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return StreamingHttpResponse(_together(lines), content_type=kind, headers=headers)


SENT = 500  # lines at once: each piece costs the server more than a line costs us


def _together(lines: Iterator[bytes] | Iterator[str]) -> Iterator[bytes]:
    whole = (line if isinstance(line, bytes) else line.encode() for line in lines)
    while piece := b"".join(islice(whole, SENT)):
        yield piece
