"""Espresso machines."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render

from people.permissions import may
from people.verbs import Verb
from people.web.pages import PageRequest, require_for_page
from stations.actions import add_machine, change_machine
from stations.forms.equipment import MachineForm, NewMachineForm
from stations.models import Machine, Site
from stations.printing import abilities_in_order
from stations.views.answering import asked_id, form_page, page, sent


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
    return render(request, "stations/machine.html", context)


@page("GET", "POST")
def machine_add(request: PageRequest) -> HttpResponse:
    """Add a machine to the site that ?site= names."""
    site = get_object_or_404(Site.objects.covered_by(request.user), pk=asked_id(request, "site"))
    require_for_page(request, Verb.EQUIPMENT_EDIT, site.pk)
    form = NewMachineForm(sent(request))
    return form_page(
        request,
        "stations/machine_form.html",
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
        "stations/machine_form.html",
        form,
        lambda: change_machine(machine=shown, **form.cleaned_data, by=request.user),
        said="{} was changed.",
        context={"site": shown.site, "machine": shown},
    )
