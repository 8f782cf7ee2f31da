"""Deciding about change requests, and moving them onto a newer version."""

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from audit.errors import Stale
from people.verbs import Verb
from people.web.pages import PageRequest, form_errors, page_for, require_for_page, status_of
from recipes.actions.decisions import accept, ask_back, decline
from recipes.actions.rebasing import rebase
from recipes.forms.requests import DecisionForm, RebaseForm
from recipes.models import ChangeRequest
from recipes.rebasing import three_sides
from recipes.views.answering import Thing, form_page, posted, retyped
from recipes.views.requests import approved_of, request_context, seen_request


@require_POST
@page_for(Verb.REQUEST_DECIDE)
def request_decide(request: PageRequest, pk: int) -> HttpResponse:
    """Accept, decline or ask back."""
    change = seen_request(request, pk)
    require_for_page(request, Verb.REQUEST_DECIDE, change.site_id)
    form = DecisionForm(request.POST)
    status = status_of(form)
    if form.is_valid():
        with form_errors(form) as outcome:
            made = _decision(request, change, form)()
        if outcome.ok:
            messages.success(request, f"{change} was answered.".capitalize())
            return redirect(made.get_absolute_url())
        change, status = seen_request(request, pk), outcome.status
        if isinstance(outcome.error, Stale):
            form.data = retyped(request, revision=change.revision)
    context = request_context(request, change) | {"form": form}
    return render(request, "recipes/request.html", context, status=status)


def _decision(
    request: PageRequest, change: ChangeRequest, form: DecisionForm
) -> Callable[[], Thing]:
    user, words = request.user, form.cleaned_data["reason"]
    seen = form.cleaned_data["revision"]
    ways: dict[str, Callable[[], Thing]] = {
        "accept": lambda: accept(by=user, request=change, note=words, revision=seen),
        "decline": lambda: decline(by=user, request=change, reason=words, revision=seen),
        "ask_back": lambda: ask_back(by=user, request=change, reason=words, revision=seen),
    }
    return ways[form.cleaned_data["decision"]]


@page_for(Verb.REQUEST_MAKE)
def request_rebase(request: PageRequest, pk: int) -> HttpResponse:
    """Three sides, parameter by parameter: which of two changes holds."""
    change = seen_request(request, pk)
    current = approved_of(change)
    lines = three_sides(change, current) if current else []
    seen = {"revision": change.revision, "current": current.pk if current else ""}
    form = RebaseForm(posted(request), initial=seen, lines=lines)
    return form_page(
        request,
        "recipes/request_rebase.html",
        form,
        lambda: rebase(
            by=request.user,
            request=change,
            choices=form.choices(),
            revision=form.cleaned_data["revision"],
            seen_current=form.cleaned_data["current"],
        ),
        said="The {} is against the current version now.",
        context=request_context(request, change) | {"sides": lines},
        seen=seen,
    )
