"""Bars."""

import segno
from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import now

from people.persons.permissions import may, may_everywhere
from people.persons.verbs import Verb
from stations.equipment.actions import (
    add_machine,
    add_site,
    add_slots,
    add_station,
    change_machine,
    change_site,
    change_station,
)
from stations.equipment.boiling import boiling_point, site_overview
from stations.equipment.checks import ZONES
from stations.equipment.forms import (
    MachineForm,
    NewMachineForm,
    NewSiteForm,
    NewStationForm,
    SiteFilter,
    SiteForm,
    SlotsForm,
    StationForm,
)
from stations.equipment.models import Machine, Site, Slot, Station
from stations.machine_types.catalogue import abilities_in_order
from stations.slots.holdings import holdings
from web.form_pages import asked_id, form_page, page, sent
from web.pages import PageRequest, form_errors, require_for_page
from web.paging import keyset
from web.printing import counted

FIELDS = ("name", "time_zone", "altitude")


@page()
def sites(request: PageRequest) -> HttpResponse:
    """The sites this person may see."""
    require_for_page(request, Verb.EQUIPMENT_VIEW)
    form = SiteFilter(request.GET)
    if not form.is_valid():
        return render(request, "stations/equipment/sites.html", {"form": form}, status=400)
    found = Site.objects.covered_by(request.user).annotate(
        machine_count=Count("machines", distinct=True),
        station_count=Count("machines__stations", distinct=True),
    )
    if form.cleaned_data["q"]:
        found = found.filter(name__icontains=form.cleaned_data["q"])
    context = {
        "form": form,
        "page": keyset(found, "name", request.GET),
        "now": now(),
        "may_edit": may_everywhere(request.user, Verb.EQUIPMENT_EDIT),
        "may_import": may(request.user, Verb.EQUIPMENT_IMPORT),
    }
    return render(request, "stations/equipment/sites.html", context)


@page()
def site(request: PageRequest, pk: int) -> HttpResponse:
    """One bar: its machines, and what each slot waits for."""
    shown = get_object_or_404(Site.objects.covered_by(request.user), pk=pk)
    context = {
        "site": shown,
        "now": now(),
        "boiling": boiling_point(shown),
        "overview": site_overview(shown, request.user),
        "may_calibrate": may(request.user, Verb.CALIBRATION_RECORD, shown.pk),
        "may_edit": may(request.user, Verb.EQUIPMENT_EDIT, shown.pk),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW, shown.pk),
    }
    return render(request, "stations/equipment/site.html", context)


@page("GET", "POST")
def site_add(request: PageRequest) -> HttpResponse:
    """Add a bar."""
    require_for_page(request, Verb.EQUIPMENT_EDIT, everywhere=True)
    form = NewSiteForm(sent(request))
    return form_page(
        request,
        "stations/equipment/site_form.html",
        form,
        lambda: add_site(**form.cleaned_data, by=request.user),
        said="{} was added.",
        context={"zones": sorted(ZONES)},
    )


@page("GET", "POST")
def site_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change a bar."""
    shown = get_object_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.EQUIPMENT_EDIT, shown.pk)
    initial = {name: getattr(shown, name) for name in FIELDS}
    form = SiteForm(sent(request), initial={**initial, "seen_revision": shown.revision})
    return form_page(
        request,
        "stations/equipment/site_form.html",
        form,
        lambda: change_site(site=shown, **form.cleaned_data, by=request.user),
        said="{} was changed.",
        context={"site": shown, "zones": sorted(ZONES)},
    )


# Espresso machines.


def covered_machine(request: PageRequest, pk: int) -> Machine:
    """The machine, for people whose roles cover its site; 404 for others."""
    rows = Machine.objects.covered_by(request.user).select_related("site", "abilities")
    found: Machine = get_object_or_404(rows, pk=pk)
    return found


@page()
def machine(request: PageRequest, pk: int) -> HttpResponse:
    """One machine: what it can set, and its stations."""
    shown = covered_machine(request, pk)
    context = {
        "machine": shown,
        "abilities": abilities_in_order(shown.abilities),
        "stations": shown.stations.with_slot_count().order_by("number"),
        "may_edit": may(request.user, Verb.EQUIPMENT_EDIT, shown.site_id),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW, shown.site_id),
    }
    return render(request, "stations/equipment/machine.html", context)


@page("GET", "POST")
def machine_add(request: PageRequest) -> HttpResponse:
    """Add a machine to the site that ?site= names."""
    site = get_object_or_404(Site.objects.covered_by(request.user), pk=asked_id(request, "site"))
    require_for_page(request, Verb.EQUIPMENT_EDIT, site.pk)
    form = NewMachineForm(sent(request))
    return form_page(
        request,
        "stations/equipment/machine_form.html",
        form,
        lambda: add_machine(site=site, **form.cleaned_data, by=request.user),
        said="{} was added.",
        context={"site": site},
    )


@page("GET", "POST")
def machine_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change a machine."""
    shown = covered_machine(request, pk)
    require_for_page(request, Verb.EQUIPMENT_EDIT, shown.site_id)
    initial = {"name": shown.name, "abilities": shown.abilities_id, "seen_revision": shown.revision}
    form = MachineForm(sent(request), initial=initial)
    return form_page(
        request,
        "stations/equipment/machine_form.html",
        form,
        lambda: change_machine(machine=shown, **form.cleaned_data, by=request.user),
        said="{} was changed.",
        context={"site": shown.site, "machine": shown},
    )


# Stations: for the desk, for the bar, and on paper.

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
    return render(request, "stations/equipment/station.html", context, status=status)


@page("GET", "POST")
def station_add(request: PageRequest) -> HttpResponse:
    """Add a station to the machine that ?machine= names."""
    machine = covered_machine(request, asked_id(request, "machine"))
    require_for_page(request, Verb.EQUIPMENT_EDIT, machine.site_id)
    form = NewStationForm(sent(request), initial={"slots": 4})
    return form_page(
        request,
        "stations/equipment/station_form.html",
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
        "stations/equipment/station_form.html",
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
            messages.success(request, f"{counted(count, 'slot')} added.")
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
    return render(request, "stations/equipment/at.html", context)


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
    return render(request, "stations/equipment/sheet.html", context)
