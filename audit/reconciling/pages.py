"""'Is everything as the history has it?': ask for a reconciliation, read what it found."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe
from django.views.decorators.vary import vary_on_headers

from audit.errors import NotPermitted, Refused
from audit.reading.access import require_every_site
from audit.reconciling.actions import RECONCILIATIONS, ask
from audit.reconciling.models import Baseline
from audit.reconciling.words import groups_of
from audit.run_pages import RunPages, actor_of

PAGES = RunPages(
    RECONCILIATIONS,
    groups_of,
    "audit/reconciling/reconciliation.html",
    "audit/reconciling/partials/run.html",
)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def reconciliations(request: HttpRequest) -> HttpResponse:
    """The newest answer, and the button that asks for another."""
    require_every_site(request.user)
    if request.method != "POST":
        return _page(request)
    try:
        ask(by=actor_of(request))
    except NotPermitted:
        raise
    except Refused as refused:
        return _page(request, f"{refused.message} {refused.how_to_ask}", status=409)
    return redirect("audit:reconciliations")


def _page(request: HttpRequest, refusal: str = "", status: int = 200) -> HttpResponse:
    context = {
        "refusal": refusal,
        "baselines": Baseline.objects.filter(rows__gt=0).order_by("id"),
        **PAGES.newest(),
    }
    return render(request, "audit/reconciling/reconciliations.html", context, status=status)


@require_safe
@login_required
@vary_on_headers("HX-Request")
def reconciliation(request: HttpRequest, pk: int) -> HttpResponse:
    """One run: its page, or the part of it that asks for itself while it runs."""
    return PAGES.answer(request, pk)
