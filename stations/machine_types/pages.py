"""What machines of one construction can set."""

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import render

from people.persons.permissions import may, may_everywhere
from people.persons.verbs import Verb
from stations.machine_types.actions import add_machine_type, change_machine_type
from stations.machine_types.catalogue import abilities_in_order
from stations.machine_types.forms import MachineTypeForm, NewMachineTypeForm, initial_of
from stations.machine_types.models import MachineType
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset


@page()
def machine_types(request: PageRequest) -> HttpResponse:
    """All machine types, and how many machines are of each."""
    require_for_page(request, Verb.EQUIPMENT_VIEW)
    found = MachineType.objects.annotate(machine_count=Count("machines"))
    context = {
        "page": keyset(found, "name", request.GET),
        "may_edit": may_everywhere(request.user, Verb.SITE_EDIT),
    }
    return render(request, "stations/machine_types/machine_types.html", context)


@page()
def machine_type(request: PageRequest, pk: int) -> HttpResponse:
    """One set: its parameters, ranges and steps, and the machines that have it."""
    require_for_page(request, Verb.EQUIPMENT_VIEW)
    shown = one_or_404(MachineType.objects.all(), pk=pk)
    machines = shown.machines.covered_by(request.user)
    context = {
        "machine_type": shown,
        "abilities": abilities_in_order(shown),
        "page": keyset(machines.select_related("site"), "id", request.GET),
        "may_edit": may_everywhere(request.user, Verb.SITE_EDIT),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW),
    }
    return render(request, "stations/machine_types/machine_type.html", context)


@page(methods="GET POST")
def machine_type_add(request: PageRequest) -> HttpResponse:
    """Add a set."""
    require_for_page(request, Verb.SITE_EDIT, everywhere=True)
    form = NewMachineTypeForm(posted(request))
    return form_page(
        request,
        "stations/machine_types/machine_type_form.html",
        form,
        lambda: add_machine_type(
            by=request.user,
            name=form.cleaned_data["name"],
            ends_by=form.cleaned_data["ends_by"],
            abilities=form.reaches(),
        ),
        said="{} was added.",
        context={},
    )


@page(methods="GET POST")
def machine_type_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change a set."""
    require_for_page(request, Verb.SITE_EDIT, everywhere=True)
    shown = one_or_404(MachineType.objects.all(), pk=pk)
    form = MachineTypeForm(posted(request), initial=initial_of(shown))
    return form_page(
        request,
        "stations/machine_types/machine_type_form.html",
        form,
        lambda: change_machine_type(
            by=request.user,
            machine_type=shown,
            revision=form.cleaned_data["revision"],
            name=form.cleaned_data["name"],
            ends_by=form.cleaned_data["ends_by"],
            abilities=form.reaches(),
        ),
        said="{} was changed.",
        context={"machine_type": shown},
    )
