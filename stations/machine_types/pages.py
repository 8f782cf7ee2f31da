"""What machines of one construction can set."""

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import render

from people.persons.permissions import may, may_everywhere
from people.persons.verbs import Verb
from stations.machine_types.actions import add_ability_set, change_ability_set
from stations.machine_types.catalogue import abilities_in_order
from stations.machine_types.forms import AbilitySetForm, NewAbilitySetForm, initial_of
from stations.machine_types.models import AbilitySet
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset


@page()
def ability_sets(request: PageRequest) -> HttpResponse:
    """All sets of abilities, and how many machines have each."""
    require_for_page(request, Verb.EQUIPMENT_VIEW)
    found = AbilitySet.objects.annotate(machine_count=Count("machines"))
    context = {
        "page": keyset(found, "name", request.GET),
        "may_edit": may_everywhere(request.user, Verb.EQUIPMENT_EDIT),
    }
    return render(request, "stations/machine_types/ability_sets.html", context)


@page()
def ability_set(request: PageRequest, pk: int) -> HttpResponse:
    """One set: its parameters, ranges and steps, and the machines that have it."""
    require_for_page(request, Verb.EQUIPMENT_VIEW)
    shown = one_or_404(AbilitySet.objects.all(), pk=pk)
    machines = shown.machines.covered_by(request.user)
    context = {
        "ability_set": shown,
        "abilities": abilities_in_order(shown),
        "page": keyset(machines.select_related("site"), "id", request.GET),
        "may_edit": may_everywhere(request.user, Verb.EQUIPMENT_EDIT),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW),
    }
    return render(request, "stations/machine_types/ability_set.html", context)


@page(methods="GET POST")
def ability_set_add(request: PageRequest) -> HttpResponse:
    """Add a set."""
    require_for_page(request, Verb.EQUIPMENT_EDIT, everywhere=True)
    form = NewAbilitySetForm(posted(request))
    return form_page(
        request,
        "stations/machine_types/ability_set_form.html",
        form,
        lambda: add_ability_set(
            name=form.cleaned_data["name"],
            ends_by=form.cleaned_data["ends_by"],
            abilities=form.reaches(),
            by=request.user,
        ),
        said="{} was added.",
        context={},
    )


@page(methods="GET POST")
def ability_set_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change a set."""
    require_for_page(request, Verb.EQUIPMENT_EDIT, everywhere=True)
    shown = one_or_404(AbilitySet.objects.all(), pk=pk)
    form = AbilitySetForm(posted(request), initial=initial_of(shown))
    return form_page(
        request,
        "stations/machine_types/ability_set_form.html",
        form,
        lambda: change_ability_set(
            ability_set=shown,
            seen_revision=form.cleaned_data["seen_revision"],
            name=form.cleaned_data["name"],
            ends_by=form.cleaned_data["ends_by"],
            abilities=form.reaches(),
            by=request.user,
        ),
        said="{} was changed.",
        context={"ability_set": shown},
    )
