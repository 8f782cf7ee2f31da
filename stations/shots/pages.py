"""Check shots: logging one at the bar, its verdict, its correction."""

from django.http import HttpResponse
from django.shortcuts import render

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.shots.actions import correct_shot, log_shot
from stations.shots.forms import CorrectionForm, ShotForm
from stations.shots.judging import LABELS, ShotLine, cup_of, lines_of, target_lines
from stations.shots.models import CheckShot
from stations.slots.holdings import Holding
from stations.slots.pages import covered_holding
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page


def covered_shot(request: PageRequest, pk: int) -> CheckShot:
    """The shot, for people whose roles cover its site; 404 for others."""
    rows = CheckShot.objects.covered_by(request.user).with_place()
    shot: CheckShot = one_or_404(rows, pk=pk)
    return shot


@page(methods="GET POST")
def shot_log(request: PageRequest, pk: int) -> HttpResponse:
    """Three numbers for the shot just pulled; then its verdict."""
    holding = covered_holding(request, pk)
    site = holding.slot.station.machine.site
    require_for_page(request, Verb.SHOT_LOG, site.pk)
    form = ShotForm(posted(request))
    return form_page(
        request,
        "stations/shots/shot_log.html",
        form,
        lambda: log_shot(by=request.user, slot=holding.slot, shot=form.weighed()),
        said="Noted as {}.",
        context={
            "holding": holding,
            "slot": holding.slot,
            "site": site,
            "targets": _targets(holding),
        },
    )


def _targets(holding: Holding) -> list[ShotLine]:
    return target_lines(cup_of(holding.placement)) if holding.placement else []


@page()
def shot(request: PageRequest, pk: int) -> HttpResponse:
    """One shot: each value beside its target, and what was corrected."""
    shown = covered_shot(request, pk)
    context = {
        "shot": shown,
        "slot": shown.slot,
        "site": shown.site,
        "lines": lines_of(shown),
        "corrections": shown.corrected.select_related("by"),
        "may_log": may(request.user, Verb.SHOT_LOG, shown.site_id),
        "may_draft": may(request.user, Verb.RECIPE_DRAFT) and bool(_signed(shown)),
    }
    return render(request, "stations/shots/shot.html", context)


def _signed(shot: CheckShot) -> str:
    """The digest of the recipe it was poured under, unless the shot is one to forget."""
    return "" if shot.left_out else shot.placement.settings.content_digest


@page(methods="GET POST")
def shot_correct(request: PageRequest, pk: int) -> HttpResponse:
    """Say what a shot really was; what was logged first stays on record."""
    shown = covered_shot(request, pk)
    require_for_page(request, Verb.SHOT_LOG, shown.site_id)
    held = {name: getattr(shown, name) for name in (*LABELS, "note", "left_out")}
    form = CorrectionForm(posted(request), initial={**held, "seen_corrections": shown.corrections})
    return form_page(
        request,
        "stations/shots/shot_correct.html",
        form,
        lambda: correct_shot(
            by=request.user,
            shot=shown,
            seen_corrections=form.cleaned_data["seen_corrections"],
            to=form.weighed(),
            reason=form.cleaned_data["reason"],
        ),
        said="{} was corrected.",
        context={"shot": shown, "slot": shown.slot, "site": shown.site},
    )
