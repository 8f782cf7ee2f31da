"""Pages of the history."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from audit.access import scope_of
from audit.charts import chart_of
from audit.days import LAST
from audit.errors import Invalid, NotFound
from audit.forms import FilterForm
from audit.paging import addresses, key_of
from audit.queries import HistoryFilter, HistoryPage, page_of, visible
from audit.registry import content_of, registry, subject_name, subject_word
from audit.retention.shown import absent, archived
from audit.rows import rows_of, subject_url, whole_row
from audit.sealing.lag import waiting_now
from audit.sealing.proofs import place_of

EMPTY = HistoryPage([], None, None)


@require_safe
@login_required
def history(request: HttpRequest) -> HttpResponse:
    """The history, newest first, by whatever filter."""
    scope = scope_of(request.user)
    form = FilterForm(request.GET, scope)
    key = key_of(request.GET.dict())
    page = EMPTY
    if form.is_valid():
        page = page_of(form.wanted(), scope, before=key.before, after=key.after)
    context = {
        "form": form,
        "rows": rows_of(page.entries, form.sites),
        "lag": waiting_now(),
        "archived": archived(),
        **addresses(request.path, request.GET, page),
    }
    return render(request, "audit/history.html", context, status=400 if form.errors else 200)


@require_safe
@login_required
def entry(request: HttpRequest, pk: int) -> HttpResponse:
    """One entry, whole."""
    found = visible(scope_of(request.user)).filter(pk=pk).first()
    if found is None:
        raise absent(pk)
    signed = registry.signature(found.signature_id) if found.signature_id else None
    context = {
        "row": whole_row(found),
        "signature": signed,
        "content": content_of(signed) if signed else None,
        "place": place_of(pk),
    }
    return render(request, "audit/entry.html", context)


@require_safe
@login_required
def timeline(request: HttpRequest, subject_type: str, subject_id: int) -> HttpResponse:
    """Everything that happened to one subject, or to one parameter of it, with a chart."""
    scope = scope_of(request.user)
    parameter = _parameter(request)
    if subject_id > LAST or not subject_type.isprintable():
        raise NotFound("There is no such thing.")
    wanted = HistoryFilter(subject_type=subject_type, subject_id=subject_id, parameter=parameter)
    key = key_of(request.GET.dict())
    page = page_of(wanted, scope, before=key.before, after=key.after)
    older = archived()
    if not page.entries and not parameter:
        also = " Older entries are archived." if older else ""
        raise NotFound(f"There is no history of that here, or none that you may read.{also}")
    context = {
        "kind": subject_word(subject_type),
        "label": subject_name(
            subject_type, subject_id, page.entries[0].subject if page.entries else ""
        ),
        "subject_url": subject_url(subject_type, subject_id),
        "rows": rows_of(page.entries),
        "parameter": parameter,
        "parameters": registry.parameters(),
        "chart": chart_of(wanted, scope) if parameter else None,
        "archived": older,
        **addresses(request.path, request.GET, page),
    }
    return render(request, "audit/timeline.html", context)


def _parameter(request: HttpRequest) -> str | None:
    code = request.GET.get("parameter") or None
    if code and code not in dict(registry.parameters()):
        raise Invalid("parameter", code, "a parameter from the list")
    return code
