"""The history to take away, streamed."""

from collections.abc import Iterator

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, StreamingHttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from audit.access import require_every_site, scope_of
from audit.errors import Invalid, Problem
from audit.exporting.bundle import bundle
from audit.exporting.filtered import csv_lines, json_lines
from audit.forms import FilterForm
from audit.queries import HistoryFilter

Scope = frozenset[int] | None


@require_safe
@login_required
def json_lines_of(request: HttpRequest) -> StreamingHttpResponse:
    """What the filter finds, one entry a line, in the bytes that are sealed."""
    wanted, scope = _asked(request)
    return _download(json_lines(wanted, scope), "application/jsonl", "jsonl")


@require_safe
@login_required
def csv_of(request: HttpRequest) -> StreamingHttpResponse:
    """What the filter finds, as a table."""
    wanted, scope = _asked(request)
    return _download(csv_lines(wanted, scope), "text/csv; charset=utf-8", "csv")


@require_safe
@login_required
def whole(request: HttpRequest) -> StreamingHttpResponse:
    """The whole history as a bundle that can be checked offline. Raises NotPermitted."""
    require_every_site(request.user)
    return _download(bundle(), "application/jsonl", "bundle.jsonl")


def _asked(request: HttpRequest) -> tuple[HistoryFilter, Scope]:
    scope = scope_of(request.user)
    form = FilterForm(request.GET, scope)
    if not form.is_valid():
        raise Invalid.of(
            [
                Problem(
                    name, form.data.get(name), " ".join(str(text) for text in texts).rstrip(".")
                )
                for name, texts in form.errors.items()
            ]
        )
    return form.wanted(), scope


def _download(lines: Iterator[bytes] | Iterator[str], kind: str, ending: str) -> (
    StreamingHttpResponse
):  # fmt: skip
    name = f"history-{timezone.now():%Y-%m-%d-%H%M}.{ending}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return StreamingHttpResponse(lines, content_type=kind, headers=headers)
