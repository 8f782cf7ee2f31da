"""Publications: the list, one with its progress, and stopping, resuming or cancelling it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from people.persons.models import User
from people.persons.permissions import covered_sites, may_at_each
from people.persons.verbs import Verb
from recipes.publishing import actions
from recipes.publishing.decided import decisions
from recipes.publishing.effects import effects_on, first_sites
from recipes.publishing.forms import ReasonForm
from recipes.publishing.listing import ListForm, still_open
from recipes.publishing.loading import tell
from recipes.publishing.models import PART, Publication, PublicationSite
from recipes.publishing.windowed import SITES, window
from stations.equipment.forms import SiteFilter
from web.access import noting_refusal
from web.form_pages import cleaned, form_page, posted, status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page
from web.paging import keyset

BUSY, QUIET = "2s", "60s"  # how often progress is asked for: while slots are placed, and before
OVER = ("stopped", "cancelled", "complete")  # nothing happens by itself any more

PER_PAGE, MOST_OPEN = 50, 100


@page(Verb.RECIPE_VIEW)
def publications(request: PageRequest) -> HttpResponse:
    """Every publication that reaches a site of theirs: those still open, then the newest."""
    user, form = request.user, ListForm(request.GET, by=request.user)
    rows = Publication.objects.covered_by(user).with_version().with_progress_for(user)
    asked = form.narrow(rows) if form.is_valid() else rows.none()
    is_open = still_open(user)
    page = keyset(asked.exclude(is_open), "-id", request.GET, size=PER_PAGE)
    found = list(asked.filter(is_open).order_by("-id")[: MOST_OPEN + 1]) if page.begins else []
    shown = found[:MOST_OPEN]
    tell([*shown, *page.rows], user)
    context = {
        "page": page, "part": PART, "form": form, "open": shown,
        "more_open": len(found) > MOST_OPEN, "reset": reverse("recipes:publications"),
    }  # fmt: skip
    template = "recipes/publishing/publications.html"
    return render(request, template, context, status=status_of(form))


def _sites(publication: Publication, user: User) -> QuerySet[PublicationSite]:
    """The publication's sites this person may see."""
    return publication.sites.with_begin().with_loading().covered_by(user)


def sites_where_may(
    user: User, publication: Publication, parts: Sequence[PublicationSite]
) -> frozenset[int]:
    """Parts (ids) with something left that this person may cancel there."""
    if publication.state not in (Publication.State.RUNNING, Publication.State.STOPPED):
        return frozenset()
    covered = covered_sites(user, Verb.PUBLICATION_STOP)
    return frozenset(
        part.pk for part in parts if part.left and (covered is None or part.site_id in covered)
    )


def _publication_shown(request: PageRequest, pk: int) -> dict[str, Any]:
    rows = Publication.objects.covered_by(request.user).with_version()
    publication = one_or_404(rows.with_progress_for(request.user), pk)
    sites = list(_sites(publication, request.user))
    form = SiteFilter(request.GET)
    asked = cleaned(form)["q"]
    shown = window(sites, asked)
    refusing = [row for row in sites if row.refusals]
    reached = actions.reach(publication)
    whole = len(sites) == len(reached)
    total, cancelled = sum(row.slots for row in sites), sum(row.cancelled for row in sites)
    publication.loaded = sum(row.loaded for row in sites)
    publication.unloaded = sum(row.unloaded for row in sites)
    names = {row.site_id: str(row.site) for row in sites}
    return {
        "publication": publication,
        "names": names,
        "where": publication.where_words(whole=whole),
        "accepted": publication.accepted_at(names, whole=whole),
        "form": form if len(sites) > SITES else None,
        "sites": shown,
        "more": len(sites) - len(shown),
        "refusing": refusing[:SITES],
        "more_refusing": len(refusing[SITES:]),
        "waiting": [row for row in sites if row.waits],
        "pace": BUSY if any(row.busy for row in sites) else QUIET,
        "total": total,
        "placed": sum(row.placed for row in sites),
        "cancelled": cancelled,
        "to_place": total - cancelled,
        "refused": sum(len(row.refusals) for row in sites),
        "due": sum(row.due for row in sites),
        "finished": publication.shown_state in OVER,
        # Of one that goes to a single site, cancelling the rest is all there is.
        "may_cancel_at": len(reached) > 1 and sites_where_may(request.user, publication, shown),
        "progress_url": _progress_url(pk, asked),
        "may_stop": may_at_each(request.user, Verb.PUBLICATION_STOP, reached),
    }


def _progress_url(pk: int, asked: str) -> str:
    url = reverse("recipes:publication_progress", args=[pk])
    return f"{url}?{urlencode({'q': asked})}" if asked else url


@page(Verb.RECIPE_VIEW)
def publication(request: PageRequest, pk: int) -> HttpResponse:
    """One publication: what was signed, how far it is, what was refused."""
    context = _publication_shown(request, pk)
    effects, more = effects_on(context["publication"], first_sites(context["sites"]))
    more = more or bool(context["more"])
    context |= {
        "effects": effects,
        "more_effects": more,
        "decisions": decisions(context["publication"], context["names"]),
    }
    return render(request, "recipes/publishing/publication.html", context)


@page(Verb.RECIPE_VIEW)
def progress(request: PageRequest, pk: int) -> HttpResponse:
    """How far it is; asked again and again while it runs."""
    template = "recipes/publishing/partials/publication_progress.html"
    return render(request, template, _publication_shown(request, pk))


@dataclass(frozen=True)
class Decision:
    """One thing that can be done to a publication, and the words for it."""

    act: Callable[..., object]
    title: str
    submit: str
    said: str


STOP = Decision(
    actions.stop, "Stop publication", "Stop it", "{} is stopped; what it has placed stays."
)
RESUME = Decision(actions.resume, "Resume publication", "Resume it", "{} goes on.")
CANCEL = Decision(
    actions.cancel, "Cancel the rest", "Cancel the rest", "The rest of {} is cancelled."
)

CANCEL_SITE = Decision(
    actions.cancel_site, "Cancel at one site", "Cancel it there",
    "{0.publication} is cancelled at {0.site}; what is placed there stays.",
)  # fmt: skip


def _decide(request: PageRequest, pk: int, decision: Decision) -> HttpResponse:
    """A page that asks why, and then does it."""
    found = one_or_404(Publication.objects.with_version(), pk)
    with noting_refusal(request):
        actions.must_cover(found, request.user)
    form = ReasonForm(posted(request), initial={"revision": found.revision})

    def act() -> Publication:
        decision.act(by=request.user, publication=found, **form.cleaned_data)
        return found

    return form_page(
        request,
        "recipes/publishing/publication_decide.html",
        form,
        act,
        said=decision.said,
        context={"publication": found, "decision": decision},
    )


@page(Verb.PUBLICATION_STOP, methods="GET POST")
def publication_stop(request: PageRequest, pk: int) -> HttpResponse:
    """Place nothing more until it is resumed."""
    return _decide(request, pk, STOP)


@page(Verb.PUBLICATION_STOP, methods="GET POST")
def publication_resume(request: PageRequest, pk: int) -> HttpResponse:
    """Go on."""
    return _decide(request, pk, RESUME)


@page(Verb.PUBLICATION_STOP, methods="GET POST")
def publication_site_cancel(request: PageRequest, pk: int) -> HttpResponse:
    """Give up what is not placed at one site."""
    parts = PublicationSite.objects.covered_by(request.user, Verb.PUBLICATION_STOP)
    part: PublicationSite = one_or_404(
        parts.select_related(
            "site", "publication__version__recipe__coffee", "publication__menu_version__menu"
        ),
        pk,
    )
    publication: Publication = part.publication
    form = ReasonForm(posted(request), initial={"revision": publication.revision})

    def act() -> PublicationSite:
        actions.cancel_site(by=request.user, part=part, **form.cleaned_data)
        return part

    return form_page(
        request,
        "recipes/publishing/publication_decide.html",
        form,
        act,
        said=CANCEL_SITE.said,
        context={"publication": publication, "decision": CANCEL_SITE, "part": part},
    )


@page(Verb.PUBLICATION_STOP, methods="GET POST")
def publication_cancel(request: PageRequest, pk: int) -> HttpResponse:
    """Give up what is not placed."""
    return _decide(request, pk, CANCEL)
