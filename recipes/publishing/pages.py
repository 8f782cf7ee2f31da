"""From an approved version to a signed publication: where and when, the plan, the signature."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from people.persons.models import User
from people.persons.permissions import may_at_each
from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from recipes.coffees.models import LotRest, rest_of
from recipes.formula.display import own_water_words
from recipes.publishing import actions
from recipes.publishing.actions import OLDEST, publish
from recipes.publishing.effects import effects_on
from recipes.publishing.forms import ReasonForm, SignPlanForm, WhereForm
from recipes.publishing.models import PART, Publication, PublicationSite
from recipes.publishing.plan import PublicationPlan, make_plan
from recipes.publishing.summary import site_parts, site_table, water_beside
from recipes.versions.models import Version
from web.access import noting_refusal
from web.form_pages import Attempt, form_page, look_again, posted, status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page
from web.paging import keyset

BUSY, QUIET = "2s", "60s"  # how often progress is asked for: while slots are placed, and before
SHOWN_WHOLE = 60  # slots; a longer plan opens one site at a time


def _version(pk: int) -> Version:
    return one_or_404(Version.objects.with_recipe().with_formula(), pk)


@page(Verb.PUBLICATION_PLAN)
def where(request: PageRequest, pk: int) -> HttpResponse:
    """Choose the slots and the moment; the address of the answer is the plan."""
    version = _version(pk)
    form = WhereForm(request.GET or None, by=request.user, version=version)
    if form.is_bound and not form.unpicked and form.is_valid():
        return redirect(f"{reverse('recipes:publish_plan', args=[pk])}?{request.GET.urlencode()}")
    status = 200 if form.unpicked else status_of(form)
    if form.unpicked:
        chosen = request.GET.dict() | {"sites": request.GET.getlist("sites")}
        form = WhereForm(initial=chosen, picked=request.GET, by=request.user, version=version)
    context = {"version": version, "form": form}
    return render(request, "recipes/publishing/publish_where.html", context, status=status)


@page(Verb.PUBLICATION_PLAN, methods="GET POST")
def plan(request: PageRequest, pk: int) -> HttpResponse:
    """Show what signing would do to every slot, and take the signature."""
    version = _version(pk)
    chosen = WhereForm(request.GET, by=request.user, version=version)
    if not chosen.is_valid():
        around = {"version": version, "form": chosen}
        return render(request, "recipes/publishing/publish_where.html", around, status=400)
    made = _plan(request, version, chosen, _learnt_until(request))
    form = SignPlanForm(
        posted(request),
        initial=_seen(made),
        request=request,
        flagged=bool(made.to_acknowledge),
    )

    def act() -> Publication:
        done = _publish(request, version, chosen, form)
        note_signed(request)
        return done

    def context(attempt: Attempt) -> dict[str, object]:
        if attempt.ok:
            return _shown(request, made, form)
        newest = _plan(request, version, chosen)  # which is what the next signature is for
        look_again(form, _seen(newest))
        return _shown(request, newest, form)

    template = "recipes/publishing/publish_plan.html"
    return form_page(request, template, form, act, said="{} is signed.", context=context)


def _learnt_until(request: PageRequest) -> datetime | None:
    """The moment of the plan that is being signed; none, or none that can be meant: now."""
    try:
        found = parse_datetime(request.POST.get("learnt_until", ""))
    except ValueError:
        return None
    if found is None or found.tzinfo is None:
        return None
    return found if abs(found - timezone.now()) <= 2 * OLDEST else None


def _seen(made: PublicationPlan) -> dict[str, str]:
    """What the page carries along for the signature."""
    until = made.learnt_until
    return {"seen_digest": made.digest, "learnt_until": until.isoformat() if until else ""}


def _plan(
    request: PageRequest, version: Version, chosen: WhereForm, until: datetime | None = None
) -> PublicationPlan:
    scope, when = chosen.cleaned_data["scope"], chosen.cleaned_data["when"]
    return make_plan(
        version=version, scope=scope, when=when, by=request.user, now=datetime.now(UTC),
        learnt_until=until,
    )  # fmt: skip


def _publish(
    request: PageRequest, version: Version, chosen: WhereForm, form: SignPlanForm
) -> Publication:
    return publish(
        by=request.user,
        version=version,
        scope=chosen.cleaned_data["scope"],
        when=chosen.cleaned_data["when"],
        seen=form.cleaned_data["seen_digest"],
        reason=form.cleaned_data["reason"],
        credentials=form.credentials(),
        acknowledged=form.cleaned_data.get("acknowledged", False),
        learnt_until=form.cleaned_data["learnt_until"],
    )


def _shown(request: PageRequest, made: PublicationPlan, form: SignPlanForm) -> dict[str, object]:
    """The plan for the page: all of it while it is short, else the site that was opened."""
    parts, waters = site_parts(made), water_beside(made)
    opened = request.GET.get("open", "")
    whole = len(made.lines) <= SHOWN_WHOLE
    details = [
        site_table(made, part.site.pk) for part in parts if whole or str(part.site.pk) == opened
    ]
    return {
        "version": made.version,
        "plan": made,
        "scope_label": made.scope_label,
        "waters": [one for one in waters if one.words],
        "waters_unread": [one for one in waters if one.unread],
        "own_water": own_water_words(made.version.stated),
        "counts": {outcome.value: count for outcome, count in made.counts().items()},
        "sites": parts,
        "details": details,
        "whole": whole,
        "form": form,
        "rest": _rest(made),
        "query": request.GET.urlencode(),
    }


def _rest(made: PublicationPlan) -> LotRest | None:
    """How the lot it is published with, or the one it was made for, stands today."""
    lot = made.when.lot or made.version.lot
    return rest_of(lot, timezone.now().date()) if lot else None


# Publications: the list, one with its progress, and stopping, resuming or cancelling it.

PER_PAGE = 50


@page(Verb.RECIPE_VIEW)
def publications(request: PageRequest) -> HttpResponse:
    """Every publication that reaches a site of theirs, the newest first."""
    rows = Publication.objects.covered_by(request.user).with_version()
    rows = rows.with_progress_for(request.user)
    page = keyset(rows, "-id", request.GET, size=PER_PAGE)
    return render(request, "recipes/publishing/publications.html", {"page": page, "part": PART})


def _sites(publication: Publication, user: User) -> QuerySet[PublicationSite]:
    """The publication's sites this person may see."""
    return publication.sites.with_begin().covered_by(user)


def _publication_shown(request: PageRequest, pk: int) -> dict[str, Any]:
    rows = Publication.objects.covered_by(request.user).with_version()
    publication = one_or_404(rows.with_progress_for(request.user), pk)
    sites = list(_sites(publication, request.user))
    reached = actions.reach(publication)
    whole = len(sites) == len(reached)
    total = sum(row.slots for row in sites)
    return {
        "publication": publication,
        "where": publication.where_words(whole=whole),
        "accepted": publication.accepted_at(
            {row.site_id: str(row.site) for row in sites}, whole=whole
        ),
        "sites": sites,
        "waiting": [row for row in sites if row.waits],
        "pace": BUSY if any(row.busy for row in sites) else QUIET,
        "total": total,
        "placed": sum(row.placed for row in sites),
        "refused": sum(len(row.refusals) for row in sites),
        "finished": publication.state != Publication.State.RUNNING,
        "progress_url": reverse("recipes:publication_progress", args=[pk]),
        "may_stop": may_at_each(request.user, Verb.PUBLICATION_STOP, reached),
    }


@page(Verb.RECIPE_VIEW)
def publication(request: PageRequest, pk: int) -> HttpResponse:
    """One publication: what was signed, how far it is, what was refused."""
    context = _publication_shown(request, pk)
    effects, more = effects_on(context["publication"], [row.site_id for row in context["sites"]])
    context |= {"effects": effects, "more_effects": more}
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
def publication_cancel(request: PageRequest, pk: int) -> HttpResponse:
    """Give up what is not placed."""
    return _decide(request, pk, CANCEL)
