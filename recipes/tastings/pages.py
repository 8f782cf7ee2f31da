"""Blind tastings: the list, planning, serving, answering, the outcome."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.brewing.taste import Method
from recipes.requests.models import ChangeRequest
from recipes.tastings.actions import (
    attach,
    lock_answers,
    open_key,
    plan_tasting,
    record_answers,
)
from recipes.tastings.forms import AnswersForm, AttachForm, TastingForm
from recipes.tastings.models import Tasting
from recipes.tastings.prospect import prospect
from recipes.tastings.result import answers_of, is_paired, result_of, session, sheets_of
from recipes.tastings.sentences import percent
from recipes.versions.models import Version
from stations.equipment.models import Site
from web.fields import RevisionForm
from web.form_pages import Attempt, cleaned, form_page, posted, status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset

SHOWN = 50


@page(Verb.RECIPE_VIEW)
def tastings(request: PageRequest) -> HttpResponse:
    """Tastings at one's sites, the newest first."""
    rows = Tasting.objects.covered_by(request.user).select_related("site")
    context = {
        "page": keyset(rows, "-id", request.GET, size=SHOWN),
        "may_run": may(request.user, Verb.TASTING_RUN),
    }
    return render(request, "recipes/tastings/tastings.html", context)


def seen_tasting(request: PageRequest, pk: int) -> Tasting:
    """The tasting, if it is at a site this person may see; else 404."""
    tasting: Tasting = one_or_404(Tasting.objects.covered_by(request.user).with_all(), pk)
    return tasting


def _own(request: PageRequest, pk: int) -> Tasting:
    """The tasting, for somebody who may run it there."""
    tasting = seen_tasting(request, pk)
    require_for_page(request, Verb.TASTING_RUN, tasting.site_id)
    return tasting


@page(Verb.RECIPE_VIEW)
def tasting(request: PageRequest, pk: int) -> HttpResponse:
    """One tasting: its plan, and once the key is open, its outcome."""
    shown = seen_tasting(request, pk)
    opened = shown.state == Tasting.State.OPENED
    may_run = may(request.user, Verb.TASTING_RUN, shown.site_id)
    loose = opened and may_run and not (shown.for_request_id or shown.for_version_id)
    choices = _choices(request) if loose else []
    context = {
        "tasting": shown,
        "risk": percent(shown.risk),
        "most": percent(shown.share) if shown.share is not None else "",
        "said": answers_of(shown) if shown.state != Tasting.State.PLANNED else [],
        "words": any(one.note for one in shown.answers.all()),
        "loose": loose,
        "answered": len(shown.answers.all()),
        "paired": is_paired(shown),
        "result": result_of(shown) if opened else None,
        "may_run": may_run,
        "may_ask": may(request.user, Verb.REQUEST_MAKE, shown.site_id),
        "cited": shown.cited.select_related("request"),
        "attach_form": AttachForm(initial={"revision": shown.revision}, choices=choices)
        if choices
        else None,
    }
    return render(request, "recipes/tastings/tasting.html", context)


def _choices(request: PageRequest) -> list[tuple[str, str]]:
    asked = ChangeRequest.objects.covered_by(request.user).unsettled().with_base()[:SHOWN]
    drafts = Version.objects.filter(state__in=["draft", "in_review"]).with_recipe()
    return [
        *((f"request:{one.pk}", f"Request {one.pk}, {one.base}") for one in asked),
        *((f"version:{one.pk}", str(one)) for one in drafts.order_by("-id")[:SHOWN]),
    ]


@page(Verb.TASTING_RUN, methods="GET POST")
def tasting_new(request: PageRequest) -> HttpResponse:
    """Plan a tasting: first worked out, then kept."""
    versions = Version.objects.exclude(state="withdrawn").with_recipe().order_by("-id")
    sites = Site.objects.covered_by(request.user, Verb.TASTING_RUN)
    initial = {"base": request.GET.get("base", ""), "other": request.GET.get("other", "")}
    form = TastingForm(posted(request), initial=initial, sites=sites, versions=versions)
    context: dict[str, object] = {"form": form}
    if form.is_bound and form.is_valid():
        sent = form.cleaned_data
        context["prospect"] = prospect(
            Method(sent["method"]),
            sent["assessments"],
            sent["risk"],
            sent["share"],
            sent["aim"],
        )
    if form.is_bound and "keep" not in request.POST:
        return render(
            request, "recipes/tastings/tasting_form.html", context, status=status_of(form)
        )
    return form_page(
        request,
        "recipes/tastings/tasting_form.html",
        form,
        lambda: plan_tasting(by=request.user, **form.plan()),
        said="Your {} is planned: print its sheets.",
        context=context,
    )


@page(Verb.TASTING_RUN)
def tasting_sheets(request: PageRequest, pk: int) -> HttpResponse:
    """What to print: the pourer's sheet with the key, and one slip for each serving."""
    shown = _own(request, pk)
    servings = session(shown)
    context = {"tasting": shown, "servings": servings, "paired": is_paired(shown)}
    context["sheets"] = sheets_of(shown)
    context["places"] = range(1, len(servings[0].order) + 1)
    return render(request, "recipes/tastings/tasting_sheets.html", context)


@page(Verb.TASTING_RUN, methods="GET POST")
def tasting_answers(request: PageRequest, pk: int) -> HttpResponse:
    """Enter which cup was chosen, serving by serving."""
    shown = _own(request, pk)
    form = AnswersForm(posted(request), initial={"revision": shown.revision}, tasting=shown)

    def around(outcome: Attempt) -> dict[str, object]:
        if outcome.stale:
            form.keep_filled()
        return {"tasting": shown, "paired": is_paired(shown)}

    return form_page(
        request,
        "recipes/tastings/tasting_answers.html",
        form,
        lambda: record_answers(
            by=request.user,
            tasting=shown,
            revision=form.cleaned_data["revision"],
            answers=form.answers(),
            notes=form.notes(),
        ),
        said="The answers of {} were saved.",
        context=around,
    )


@page(Verb.TASTING_RUN, methods="POST")
def tasting_lock(request: PageRequest, pk: int) -> HttpResponse:
    """Close the answers."""
    shown = _own(request, pk)
    revision = cleaned(RevisionForm(request.POST))["revision"]
    locked = lock_answers(by=request.user, tasting=shown, revision=revision)
    messages.success(request, "The answers are locked. Now the key can be opened.")
    return redirect(locked)


@page(Verb.TASTING_RUN, methods="POST")
def tasting_open(request: PageRequest, pk: int) -> HttpResponse:
    """Open the key."""
    shown = _own(request, pk)
    revision = cleaned(RevisionForm(request.POST))["revision"]
    return redirect(open_key(by=request.user, tasting=shown, revision=revision))


@page(Verb.TASTING_RUN, methods="POST")
def tasting_attach(request: PageRequest, pk: int) -> HttpResponse:
    """Attach the outcome to a change request or a draft."""
    shown = _own(request, pk)
    sent = cleaned(AttachForm(request.POST, choices=_choices(request)))
    kind, _, number = sent["evidence_for"].partition(":")
    rows = ChangeRequest.objects.covered_by(request.user)
    asked = one_or_404(rows, int(number)) if kind == "request" else None
    draft = one_or_404(Version.objects.with_recipe(), int(number)) if not asked else None
    attach(by=request.user, tasting=shown, revision=sent["revision"], request=asked, version=draft)
    messages.success(request, "It is evidence now.")
    return redirect(asked or draft or shown)
