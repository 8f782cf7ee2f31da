"""'Is the history intact?': ask for a check, watch it, read what it found."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe
from django.views.decorators.vary import vary_on_headers

from audit.access import require_every_site
from audit.checking.forms import CheckForm
from audit.checking.queries import silent
from audit.checking.start import start_check
from audit.checking.told import groups_of
from audit.context import Actor
from audit.errors import NotFound, NotPermitted, Refused
from audit.models import HistoryCheck
from audit.sealing.keys import origin

LISTED = 20


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def intact(request: HttpRequest) -> HttpResponse:
    """The newest answer, and the button that asks for another."""
    require_every_site(request.user)
    if request.method == "POST":
        return _asked(request)
    return _page(request, CheckForm())


def _asked(request: HttpRequest) -> HttpResponse:
    form = CheckForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, form, status=400)
    try:
        start_check(by=_actor(request), **form.asked())
    except NotPermitted:
        raise
    except Refused as refused:
        form.add_error(None, f"{refused.message} {refused.how_to_ask}")
        return _page(request, form, status=409)
    return redirect("audit:intact")


def _actor(request: HttpRequest) -> Actor:
    return request.user  # type: ignore[return-value]  # signed in, or it would not be here


def _page(request: HttpRequest, form: CheckForm, status: int = 200) -> HttpResponse:
    checks = list(HistoryCheck.objects.all()[: LISTED + 1])
    newest = checks[0] if checks else None
    context = {
        "form": form,
        "origin": origin(),
        "earlier": checks[1:],
        **(_shown(newest) if newest else {}),
    }
    return render(request, "audit/intact.html", context, status=status)


@require_safe
@login_required
@vary_on_headers("HX-Request")
def check(request: HttpRequest, pk: int) -> HttpResponse:
    """One check: its page, or the part of it that asks for itself while it runs."""
    require_every_site(request.user)
    found = HistoryCheck.objects.filter(pk=pk).first()
    if found is None:
        raise NotFound("There is no such check.")
    part = request.headers.get("HX-Request") == "true"
    template = "audit/partials/check.html" if part else "audit/check.html"
    return render(request, template, _shown(found))


def _shown(found: HistoryCheck) -> dict[str, object]:
    is_running = found.state == HistoryCheck.State.RUNNING
    return {
        "check": found,
        "running": is_running,
        "silent": is_running and silent().filter(pk=found.pk).exists(),
        "groups": groups_of(found),
    }
