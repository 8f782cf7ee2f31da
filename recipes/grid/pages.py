"""The grid's page, and the question what another temperature would do."""

from datetime import timedelta
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.grid.asked import Asked, GridFilter
from recipes.grid.matching import window
from recipes.grid.shown import site_grids
from recipes.grid.what_if import WhatIfForm
from stations.metrology.formula import TEMPERATURE
from web.form_pages import form_errors, status_of
from web.pages import PageRequest, page, require_for_page

WEEK = timedelta(days=7)


@page()
def grid(request: PageRequest) -> HttpResponse:
    """Every site and slot: what each should hold and does hold, now or at another moment."""
    require_for_page(request, Verb.SLOT_VIEW)
    form, week_ago = GridFilter(request.GET), timezone.now().date() - WEEK
    context: dict[str, object] = {
        "form": form,
        "week_ago": week_ago.isoformat(),
        "what_if": WhatIfForm() if may(request.user, Verb.MODEL_FIT) else None,
    }
    asked = _asked(form)
    if asked is None:
        return render(request, "recipes/grid/grid.html", context, status=400)
    shown = window(request.user, asked, request.GET)
    sites = list(site_grids(request.user, shown.rows, asked))
    context |= {"page": shown, "asked": asked, "sites": sites}
    return render(request, "recipes/grid/grid.html", context)


def _asked(form: GridFilter) -> Asked | None:
    """What was asked; None where something of it can't be used, which the form then says."""
    if form.is_valid():
        with form_errors(form):
            return form.asked()
    return None


@page(Verb.RECIPE_VIEW)
def what_if(request: PageRequest) -> HttpResponse:
    """On to what the model says of the approved version at that temperature."""
    form = WhatIfForm(request.GET or None)
    if not form.is_valid():
        status = status_of(form)
        return render(request, "recipes/grid/what_if.html", {"what_if": form}, status=status)
    chosen = form.cleaned_data
    query = urlencode({TEMPERATURE: f"{chosen[TEMPERATURE]:f}"})
    return redirect(f"{reverse('recipes:prediction', args=[chosen['version'].pk])}?{query}")
