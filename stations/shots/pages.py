"""Check shots: logging one at the bar, its verdict, its correction."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.timezone import now

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.equipment.models import Slot
from stations.equipment.pages import covered_station
from stations.shots.actions import correct_shot, log_shot
from stations.shots.card import card_of, slot_at_hand
from stations.shots.forms import CorrectionForm
from stations.shots.judging import LABELS, SAID
from stations.shots.models import CheckShot
from stations.shots.to_anybody import shown_by_policy
from stations.slots.holdings import holdings
from stations.slots.pages import covered_holding
from stations.slots.unverified import say_unverified
from web.form_pages import form_page, posted
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page, require_for_page
from web.queued import made_at


def covered_shot(request: PageRequest, pk: int) -> CheckShot:
    """The shot, for people whose roles cover its site; 404 for others."""
    rows = CheckShot.objects.covered_by(request.user).with_place()
    shot: CheckShot = one_or_404(rows, pk=pk)
    return shot


@shown_by_policy
@page(kept=True)
def at(request: PageRequest, code: str) -> HttpResponse:
    """The bar's page of a station: the shot card of one slot, and what each slot is set to."""
    shown = covered_station(request, code=code)
    site = shown.machine.site
    require_for_page(request, Verb.SLOT_VIEW, site.pk)
    held = say_unverified(holdings(Slot.objects.filter(station=shown)))
    asked = asked_number(request, "slot") if "slot" in request.GET else None
    may_log = may(request.user, Verb.SHOT_LOG, site.pk)
    at_hand = slot_at_hand(shown, held, asked) if may_log else None
    context = {
        "station": shown,
        "site": site,
        "holdings": held,
        "card": card_of(at_hand) if at_hand else None,
        "now": now(),
        "may_read_back": may(request.user, Verb.SLOT_READ_BACK, site.pk),
        "may_open": may(request.user, Verb.LOT_OPEN, site.pk),
        "may_log": may_log,
    }
    return render(request, "stations/shots/at.html", context)


@page(methods="GET POST", kept=True)
def shot_log(request: PageRequest, pk: int) -> HttpResponse:
    """Three numbers for the shot just pulled; then its verdict."""
    holding = covered_holding(request, pk)
    site = holding.slot.station.machine.site
    require_for_page(request, Verb.SHOT_LOG, site.pk)
    card = card_of(holding, posted(request))
    return form_page(
        request,
        "stations/shots/shot_log.html",
        card.form,
        lambda: log_shot(
            by=request.user,
            slot=holding.slot,
            shot=card.form.weighed(),
            grinder=card.form.cleaned_data.get("grinder"),
            seen_placement=card.form.cleaned_data["seen_placement"],
            made_at=made_at(request),
        ),
        said="Noted as {}.",
        context={
            "holding": holding,
            "slot": holding.slot,
            "site": site,
            "card": card,
            "may_open": may(request.user, Verb.LOT_OPEN, site.pk),
        },
    )


@page(methods="GET POST")
def shot_correct(request: PageRequest, pk: int) -> HttpResponse:
    """Say what a shot really was; what was logged first stays on record."""
    shown = covered_shot(request, pk)
    require_for_page(request, Verb.SHOT_LOG, shown.site_id)
    held = {name: getattr(shown, name) for name in (*LABELS, *SAID, "note", "left_out")}
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
