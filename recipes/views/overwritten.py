"""The owner's question about a slot that was found to hold something else."""

from django.http import HttpResponse
from django.shortcuts import render

from people.verbs import Verb
from people.web.pages import PageRequest, require_for_page
from stations.overwritten import acted_within, roles_there, window_of
from stations.views.answering import page
from stations.views.slots import covered_holding


@page()
def overwritten(request: PageRequest, pk: int) -> HttpResponse:
    """The window, who acted near the slot in it, and who has a role there."""
    slot = covered_holding(request, pk).slot
    site = slot.station.machine.site
    require_for_page(request, Verb.HISTORY_VIEW, site.pk)
    window = window_of(slot)
    context: dict[str, object] = {"slot": slot, "site": site, "window": window}
    if window:
        context["acted"] = acted_within(slot, window)
        context["roles"] = roles_there(slot, window.end)
    return render(request, "recipes/overwritten.html", context)
