"""Stations: for the desk, for the bar, and on paper."""

import segno
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import now

from people.permissions import may
from people.verbs import Verb
from people.web.pages import PageRequest, form_errors, require_for_page
from stations.actions import add_slots, add_station, change_station
from stations.forms.equipment import NewStationForm, SlotsForm, StationForm
from stations.holdings import holdings
from stations.models import Slot, Station
from stations.views.answering import asked_id, form_page, page, sent
from stations.views.machines import covered_machine

TRAITS = ("pulses_per_millilitre", "temperature_offset")


def covered_station(request: PageRequest, **named: object) -> Station:
    """The station, for people whose roles cover its site; 404 for others."""
    rows = Station.objects.covered_by(request.user).with_equipment()
    station: Station = get_object_or_404(rows, **named)
    return station


@page()
def station(request: PageRequest, pk: int) -> HttpResponse:
    """One brewing group: its traits and its slots."""
    shown = covered_station(request, pk=pk)
    return _station_page(request, shown, SlotsForm(initial={"total": shown.slots.count()}))


def _station_page(
    request: PageRequest, shown: Station, form: SlotsForm, status: int = 200
) -> HttpResponse:
    site = shown.machine.site
    slots = Slot.objects.covered_by(request.user).filter(station=shown)
    context = {
        "station": shown,
        "site": site,
        "holdings": holdings(slots),
        "form": form,
        "drifts": shown.drifts.current(),
        "calibrations": shown.calibrations.select_related("station__machine__site")[:10],
        "may_calibrate": may(request.user, Verb.CALIBRATION_RECORD, site.pk),
        "may_edit": may(request.user, Verb.EQUIPMENT_EDIT, site.pk),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW, site.pk),
    }
    return render(request, "stations/station.html", context, status=status)


@page("GET", "POST")
def station_add(request: PageRequest) -> HttpResponse:
    """Add a station to the machine that ?machine= names."""
    machine = covered_machine(request, asked_id(request, "machine"))
    require_for_page(request, Verb.EQUIPMENT_EDIT, machine.site_id)
    form = NewStationForm(sent(request), initial={"slots": 4})
    return form_page(
        request,
        "stations/station_form.html",
        form,
        lambda: add_station(machine=machine, **form.cleaned_data, by=request.user),
        said="{} was added.",
        context={"machine": machine},
    )


@page("GET", "POST")
def station_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change a station's traits."""
    shown = covered_station(request, pk=pk)
    require_for_page(request, Verb.EQUIPMENT_EDIT, shown.machine.site_id)
    initial = {name: getattr(shown, name) for name in TRAITS}
    form = StationForm(sent(request), initial={**initial, "seen_revision": shown.revision})
    return form_page(
        request,
        "stations/station_form.html",
        form,
        lambda: change_station(station=shown, **form.cleaned_data, by=request.user),
        said="{} was changed.",
        context={"machine": shown.machine, "station": shown},
    )


@page("POST")
def slots_add(request: PageRequest, pk: int) -> HttpResponse:
    """Give a station more slots."""
    shown = covered_station(request, pk=pk)
    require_for_page(request, Verb.EQUIPMENT_EDIT, shown.machine.site_id)
    form = SlotsForm(request.POST)
    if form.is_valid():
        with form_errors(form):
            count = len(add_slots(station=shown, **form.cleaned_data, by=request.user))
            messages.success(request, f"{count} slot{'' if count == 1 else 's'} added.")
            return redirect(shown)
    return _station_page(request, shown, form, status=400)


@page()
def at(request: PageRequest, code: str) -> HttpResponse:
    """The barista's page: what each slot of this station should be set to, large."""
    shown = covered_station(request, code=code)
    site = shown.machine.site
    require_for_page(request, Verb.SLOT_VIEW, site.pk)
    context = {
        "station": shown,
        "site": site,
        "holdings": holdings(Slot.objects.filter(station=shown)),
        "now": now(),
        "may_read_back": may(request.user, Verb.SLOT_READ_BACK, site.pk),
        "may_log": may(request.user, Verb.SHOT_LOG, site.pk),
    }
    return render(request, "stations/at.html", context)


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
    return render(request, "stations/sheet.html", context)
