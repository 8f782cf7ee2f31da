"""Publications: the list, one with its progress, and stopping, resuming or cancelling it."""

from collections.abc import Callable
from dataclasses import dataclass

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from people.models import User
from people.permissions import covered_sites, may_at_each
from people.verbs import Verb
from people.web.pages import (
    PageRequest,
    form_errors,
    noting_refusal,
    one_or_404,
    page_for,
    status_of,
)
from recipes.forms.publishing import ReasonForm
from recipes.models import Publication, PublicationSite
from recipes.publishing import control
from recipes.views.answering import posted
from stations.paging import keyset

PER_PAGE = 50


@page_for(Verb.RECIPE_VIEW)
def publications(request: PageRequest) -> HttpResponse:
    """Every publication, the newest first."""
    rows = Publication.objects.with_version().with_progress_for(request.user)
    page = keyset(rows, "-id", request.GET, size=PER_PAGE)
    return render(request, "recipes/publications.html", {"page": page})


def _sites(publication: Publication, user: User) -> QuerySet[PublicationSite]:
    """The publication's sites this person may see."""
    rows = publication.sites.select_related("site").order_by("due_at", "site__name")
    covered = covered_sites(user, Verb.SLOT_VIEW)
    return rows if covered is None else rows.filter(site__in=covered)


def _shown(request: PageRequest, pk: int) -> dict[str, object]:
    publication = one_or_404(Publication.objects.with_version(), pk)
    sites = list(_sites(publication, request.user))
    total = sum(row.slots for row in sites)
    return {
        "publication": publication,
        "sites": sites,
        "total": total,
        "placed": sum(row.placed for row in sites),
        "refused": sum(len(row.refusals) for row in sites),
        "finished": publication.state != Publication.State.RUNNING,
        "progress_url": reverse("recipes:publication_progress", args=[pk]),
        "may_stop": may_at_each(request.user, Verb.PUBLICATION_STOP, control.reach(publication)),
    }


@page_for(Verb.RECIPE_VIEW)
def publication(request: PageRequest, pk: int) -> HttpResponse:
    """One publication: what was signed, how far it is, what was refused."""
    return render(request, "recipes/publication.html", _shown(request, pk))


@page_for(Verb.RECIPE_VIEW)
def progress(request: PageRequest, pk: int) -> HttpResponse:
    """How far it is; asked again and again while it runs."""
    template = "recipes/partials/publication_progress.html"
    return render(request, template, _shown(request, pk))


@dataclass(frozen=True)
class Decision:
    """One thing that can be done to a publication, and the words for it."""

    act: Callable[..., object]
    title: str
    submit: str
    said: str


STOP = Decision(
    control.stop, "Stop publication", "Stop it", "{} is stopped; what it has placed stays."
)
RESUME = Decision(control.resume, "Resume publication", "Resume it", "{} goes on.")
CANCEL = Decision(
    control.cancel, "Cancel the rest", "Cancel the rest", "The rest of {} is cancelled."
)


def _decide(request: PageRequest, pk: int, decision: Decision) -> HttpResponse:
    """A page that asks why, and then does it."""
    found = one_or_404(Publication.objects.with_version(), pk)
    with noting_refusal(request):
        control.must_cover(found, request.user)
    form = ReasonForm(posted(request))
    status = status_of(form)
    if form.is_bound and form.is_valid():
        with form_errors(form) as outcome:
            decision.act(publication=found, by=request.user, reason=form.cleaned_data["reason"])
        if outcome.ok:
            messages.success(request, decision.said.format(found).capitalize())
            return redirect(found)
        status = outcome.status
    context = {"publication": found, "form": form, "decision": decision}
    return render(request, "recipes/publication_decide.html", context, status=status)


@page_for(Verb.PUBLICATION_STOP)
def publication_stop(request: PageRequest, pk: int) -> HttpResponse:
    """Place nothing more until it is resumed."""
    return _decide(request, pk, STOP)


@page_for(Verb.PUBLICATION_STOP)
def publication_resume(request: PageRequest, pk: int) -> HttpResponse:
    """Go on."""
    return _decide(request, pk, RESUME)


@page_for(Verb.PUBLICATION_STOP)
def publication_cancel(request: PageRequest, pk: int) -> HttpResponse:
    """Give up what is not placed."""
    return _decide(request, pk, CANCEL)
