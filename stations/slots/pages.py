"""What slots should hold, at the bar and on paper; reading one back and setting one by hand."""

import segno
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.timezone import now

from people.notices.seen import mark_opened
from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.equipment.models import Site, Slot
from stations.equipment.pages import covered_station
from stations.slots.bases import who_may_change
from stations.slots.by_hand import set_by_hand
from stations.slots.forms import ByHandForm, ReadBackForm
from stations.slots.holdings import Holding, holdings
from stations.slots.models import ReadBack
from stations.slots.read_backs import read_back, report_read_backs
from stations.slots.rounds import Round, outcome
from stations.slots.signed import withhold
from stations.slots.unverified import say_unverified
from stations.slots.verdicts import lines_of
from web.form_pages import form_page, posted
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page, require_for_page
from web.queued import made_at
from web.units import on_paper


def covered_holding(request: PageRequest, pk: int) -> Holding:
    """The slot and what it should hold, for people whose roles cover its site; 404 for others."""
    one_or_404(Slot.objects.covered_by(request.user), pk=pk)
    return say_unverified(holdings(Slot.objects.filter(pk=pk)))[0]


def rights(request: PageRequest, site_id: int) -> dict[str, bool]:
    """What this person may do with the slots of that site."""
    verbs = {
        "may_read_back": Verb.SLOT_READ_BACK,
        "may_log": Verb.SHOT_LOG,
        "may_set": Verb.SLOT_SET_BY_HAND,
        "may_ask": Verb.REQUEST_MAKE,
        "may_permit": Verb.PERMIT_GRANT,
        "may_read_history": Verb.RECIPE_HISTORY,
    }
    return {name: may(request.user, verb, site_id) for name, verb in verbs.items()}


@page(methods="GET POST")
def set_slot_by_hand(request: PageRequest, pk: int) -> HttpResponse:
    """Say that an unlocked slot holds something else now; a locked one answers with who may."""
    holding = covered_holding(request, pk)
    machine = holding.slot.station.machine
    require_for_page(request, Verb.SLOT_SET_BY_HAND, machine.site_id)
    context = {
        "holding": holding,
        "slot": holding.slot,
        "site": machine.site,
        "who_may": who_may_change(),
        **rights(request, machine.site_id),
    }
    if holding.locked and request.method != "POST":
        # Looking is no attempt: only what is sent is refused for the record.
        return render(request, "stations/slots/slot_locked.html", context, status=409)
    form = ByHandForm(machine.machine_type, posted(request), initial=_held(holding))
    if holding.locked:
        # However badly the values are spelt, trying counts: the action refuses and records it.
        _set(request, holding, {code: request.POST.get(code, "") for code in form.codes})
    return form_page(
        request,
        "stations/slots/set_by_hand.html",
        form,
        lambda: _set(request, holding, form.values()),
        said="{} is noted as set by hand.",
        context=context,
    )


def _set(request: PageRequest, holding: Holding, values: dict[str, str]) -> Slot:
    return set_by_hand(slot=holding.slot, values=values, by=request.user).slot


def _held(holding: Holding) -> dict[str, str]:
    values = holding.placement.settings.values if holding.placement else {}
    return {code: given["value"] for code, given in values.items()}


# Reading a slot back, and the list of what to key in.


class Read:
    """A saved read-back, leading to the page of its verdicts."""

    def __init__(self, saved: ReadBack) -> None:
        self.saved = saved

    def get_absolute_url(self) -> str:
        """The read-back page, showing this one."""
        return f"{reverse('stations:read_back', args=[self.saved.slot_id])}?read={self.saved.pk}"


@page(methods="GET POST", kept=True)
def read_slot_back(request: PageRequest, pk: int) -> HttpResponse:
    """Type what a slot shows; afterwards, the verdict for every parameter."""
    holding = covered_holding(request, pk)
    site = holding.slot.station.machine.site
    require_for_page(request, Verb.SLOT_READ_BACK, site.pk)
    context: dict[str, object] = {"holding": holding, "slot": holding.slot, "site": site}
    if "read" in request.GET and request.method != "POST":
        rows = ReadBack.objects.select_related(
            "placement__settings", "placement__signature", "placement__slot", "by"
        )
        read = one_or_404(rows, slot=pk, pk=asked_number(request, "read"))
        withhold([read.placement])
        lines = lines_of(read.placement.settings.values, read)
        asks = may(request.user, Verb.REQUEST_MAKE, site.pk)
        context |= {"read": read, "lines": lines, "may_ask": asks}
        return render(request, "stations/slots/read_back_verdict.html", context)
    form = ReadBackForm(
        holding.placement.settings.values if holding.placement else {},
        posted(request),
        initial={"seen_placement": holding.placement.pk if holding.placement else None},
    )
    return form_page(
        request,
        "stations/slots/read_back.html",
        form,
        lambda: _save(request, holding, form),
        said="",
        context=context,
    )


def _save(request: PageRequest, holding: Holding, form: ReadBackForm) -> Read:
    read = read_back(
        by=request.user,
        slot=holding.slot,
        seen_placement=form.cleaned_data["seen_placement"],
        found=form.found(),
        unread=form.unread(),
        made_at=made_at(request),
    )
    _seen_by(request, holding.slot.pk)  # the verdict comes next
    return Read(read)


def _seen_by(request: PageRequest, *slots: int) -> None:
    """Whoever found that a slot differs is sent nothing about it."""
    mark_opened(request.user.pk, *(reverse("stations:slot", args=[pk]) for pk in slots))


@page(methods="GET POST", kept=True)
def to_key(request: PageRequest, pk: int) -> HttpResponse:
    """What to key in at each station of a site, and what was found there: a tick a slot.

    With ?all=1 what matches too.
    """
    site = one_or_404(Site.objects.covered_by(request.user, Verb.SLOT_VIEW), pk=pk)
    everything = request.GET.get("all") == "1"
    walk = Round(site, posted(request), everything=everything)
    status, empty = 200, False
    if request.method == "POST":
        require_for_page(request, Verb.SLOT_READ_BACK, site.pk)
        if walk.looked_at and not walk.faulty:
            reported = report_read_backs(
                by=request.user, site=site, readings=walk.readings(), made_at=made_at(request)
            )
            _seen_by(request, *(each.reading.slot for each in reported if each.taken))
            messages.success(request, outcome(reported))
            return redirect(request.get_full_path())
        status, empty = 400, not walk.looked_at
    context = {
        "site": site,
        "walk": walk,
        "empty": empty,
        "everything": everything,
        "now": now(),
        "may_read_back": may(request.user, Verb.SLOT_READ_BACK, site.pk),
    }
    return render(request, "stations/slots/to_key.html", context, status=status)


# At the bar, and on paper.


@page()
def sheet(request: PageRequest, pk: int) -> HttpResponse:
    """The sheet that hangs beside the station: its code, and with ?settings=1 today's settings."""
    shown = covered_station(request, pk=pk)
    site = shown.machine.site
    require_for_page(request, Verb.SLOT_VIEW, site.pk)
    address = request.build_absolute_uri(reverse("stations:at", args=[shown.code]))
    context = {
        "station": shown,
        "site": site,
        "address": address,
        # Medium correction: a sheet at a bar gets splashed.
        "code_image": segno.make(address, error="m", micro=False).svg_data_uri(border=2),
        "with_settings": request.GET.get("settings") == "1",
        "holdings": holdings(Slot.objects.filter(station=shown)),
        "now": now(),
    }
    with on_paper():
        return render(request, "stations/slots/sheet.html", context)
