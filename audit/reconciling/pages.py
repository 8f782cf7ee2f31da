"""'Is everything as the history has it?': ask for a reconciliation, read what it found."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe
from django.views.decorators.vary import vary_on_headers

from audit.capture.context import Actor
from audit.errors import NotFound, NotPermitted, Refused
from audit.reading.access import require_every_site
from audit.reconciling.actions import RECONCILIATIONS, ask
from audit.reconciling.models import Baseline, Reconciliation
from audit.reconciling.words import groups_of
from audit.runs import RunState

LISTED = 20


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def reconciliations(request: HttpRequest) -> HttpResponse:
    """The newest answer, and the button that asks for another."""
    require_every_site(request.user)
    if request.method != "POST":
        return _page(request)
    try:
        ask(by=_actor(request))
    except NotPermitted:
        raise
    except Refused as refused:
        return _page(request, f"{refused.message} {refused.how_to_ask}", status=409)
    return redirect("audit:reconciliations")


def _actor(request: HttpRequest) -> Actor:
    return request.user  # type: ignore[return-value]  # signed in, or it would not be here


def _page(request: HttpRequest, refusal: str = "", status: int = 200) -> HttpResponse:
    runs = list(Reconciliation.objects.all()[: LISTED + 1])
    context = {
        "refusal": refusal,
        "earlier": runs[1:],
        "baselines": Baseline.objects.filter(rows__gt=0).order_by("id"),
        **(_shown(runs[0]) if runs else {}),
    }
    return render(request, "audit/reconciling/reconciliations.html", context, status=status)


@require_safe
@login_required
@vary_on_headers("HX-Request")
def reconciliation(request: HttpRequest, pk: int) -> HttpResponse:
    """One run: its page, or the part of it that asks for itself while it runs."""
    require_every_site(request.user)
    run = Reconciliation.objects.filter(pk=pk).first()
    if run is None:
        raise NotFound("There is no such reconciliation.")
    part = request.headers.get("HX-Request") == "true"
    name = "partials/run.html" if part else "reconciliation.html"
    return render(request, f"audit/reconciling/{name}", _shown(run))


def _shown(run: Reconciliation) -> dict[str, object]:
    is_running = run.state == RunState.RUNNING
    return {
        "run": run,
        "running": is_running,
        "silent": is_running and RECONCILIATIONS.silent().filter(pk=run.pk).exists(),
        "groups": groups_of(run),
    }
