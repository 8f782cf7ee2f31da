"""Pages of sites, machines and stations: the lists, and the forms that add and change them."""

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.timezone import now

from people.persons.permissions import may, may_everywhere
from people.persons.verbs import Verb
from stations.equipment.actions import (
    add_machine,
    add_site,
    add_station,
    change_machine,
    change_site,
)
from stations.equipment.forms import (
    MachineForm,
    NewMachineForm,
    NewSiteForm,
    NewStationForm,
    SiteFilter,
    SiteForm,
)
from stations.equipment.models import Machine, Site, Station
from stations.machine_types.catalogue import abilities_in_order
from web.checks import ZONES
from web.form_pages import form_page, posted
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset

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
        "may_edit": may_everywhere(request.user, Verb.SITE_EDIT),
        "may_import": may(request.user, Verb.EQUIPMENT_IMPORT),
    }
    return render(request, "stations/equipment/sites.html", context)


@page(methods="GET POST")
def site_add(request: PageRequest) -> HttpResponse:
    """Add a bar."""
    require_for_page(request, Verb.SITE_EDIT, everywhere=True)
    form = NewSiteForm(posted(request))
    return form_page(
        request,
        "stations/equipment/site_form.html",
        form,
        lambda: add_site(by=request.user, **form.cleaned_data),
        said="{} was added.",
        context={"zones": sorted(ZONES)},
    )


@page(methods="GET POST")
def site_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change a bar."""
    shown = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.SITE_EDIT, shown.pk)
    initial = {name: getattr(shown, name) for name in FIELDS}
    form = SiteForm(posted(request), initial={**initial, "revision": shown.revision})
    return form_page(
        request,
        "stations/equipment/site_form.html",
        form,
        lambda: change_site(by=request.user, site=shown, **form.cleaned_data),
        said="{} was changed.",
        context={"site": shown, "zones": sorted(ZONES)},
    )


# Espresso machines.


def covered_machine(request: PageRequest, pk: int) -> Machine:
    """The machine, for people whose roles cover its site; 404 for others."""
    rows = Machine.objects.covered_by(request.user).select_related("site", "machine_type")
    found: Machine = one_or_404(rows, pk=pk)
    return found


@page()
def machine(request: PageRequest, pk: int) -> HttpResponse:
    """One machine: what it can set, and its stations."""
    shown = covered_machine(request, pk)
    context = {
        "machine": shown,
        "abilities": abilities_in_order(shown.machine_type),
        "stations": shown.stations.with_slot_count().order_by("number"),
        "may_edit": may(request.user, Verb.EQUIPMENT_EDIT, shown.site_id),
        "may_calibrate": may(request.user, Verb.CALIBRATION_RECORD, shown.site_id),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW, shown.site_id),
    }
    return render(request, "stations/equipment/machine.html", context)


@page(methods="GET POST")
def machine_add(request: PageRequest) -> HttpResponse:
    """Add a machine to the site that ?site= names."""
    site = one_or_404(Site.objects.covered_by(request.user), pk=asked_number(request, "site"))
    require_for_page(request, Verb.EQUIPMENT_EDIT, site.pk)
    form = NewMachineForm(posted(request))
    return form_page(
        request,
        "stations/equipment/machine_form.html",
        form,
        lambda: add_machine(by=request.user, site=site, **form.cleaned_data),
        said="{} was added.",
        context={"site": site},
    )


@page(methods="GET POST")
def machine_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change a machine."""
    shown = covered_machine(request, pk)
    require_for_page(request, Verb.EQUIPMENT_EDIT, shown.site_id)
    initial = {
        "name": shown.name,
        "machine_type": shown.machine_type_id,
        "revision": shown.revision,
    }
    form = MachineForm(posted(request), initial=initial)
    return form_page(
        request,
        "stations/equipment/machine_form.html",
        form,
        lambda: change_machine(by=request.user, machine=shown, **form.cleaned_data),
        said="{} was changed.",
        context={"site": shown.site, "machine": shown},
    )


# Stations.


def covered_station(request: PageRequest, **named: object) -> Station:
    """The station, for people whose roles cover its site; 404 for others."""
    rows = Station.objects.covered_by(request.user).with_equipment()
    station: Station = one_or_404(rows, **named)
    return station


@page(methods="GET POST")
def station_add(request: PageRequest) -> HttpResponse:
    """Add a station to the machine that ?machine= names."""
    machine = covered_machine(request, asked_number(request, "machine"))
    require_for_page(request, Verb.EQUIPMENT_EDIT, machine.site_id)
    form = NewStationForm(posted(request), initial={"slots": 4})
    return form_page(
        request,
        "stations/equipment/station_form.html",
        form,
        lambda: add_station(by=request.user, machine=machine, **form.cleaned_data),
        said="{} was added.",
        context={"machine": machine},
    )
