"""The owner's question about a parameter: what was it, where, when, and on whose permit."""

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from people.permissions import covered_sites
from people.verbs import Verb
from people.web.pages import PageRequest, cleaned, one_or_404, page_for
from recipes.models import Recipe
from recipes.overtime.drawing import over_time_drawing
from recipes.overtime.spans import over_time
from recipes.parameters import PARAMETERS

FIRST = "brew_temperature"


class ParameterForm(forms.Form):
    """Which parameter."""

    parameter = forms.ChoiceField(
        label="Parameter",
        choices=[(one.code, one.label) for one in PARAMETERS.values()],
        error_messages={"invalid_choice": "“%(value)s” is no parameter: choose one of the list."},
    )


@page_for(Verb.HISTORY_VIEW)
def parameter_over_time(request: PageRequest, pk: int) -> HttpResponse:
    """Versions, sites and permits: as a chart and as tables."""
    recipe = one_or_404(Recipe.objects.select_related("coffee"), pk)
    form = ParameterForm({"parameter": request.GET.get("parameter", FIRST)})
    parameter = PARAMETERS[cleaned(form)["parameter"]]
    sites = covered_sites(request.user, Verb.HISTORY_VIEW)
    found = over_time(recipe, parameter, sites, timezone.now())
    context = {
        "recipe": recipe,
        "form": form,
        "parameter": parameter,
        "found": found,
        "picture": None if found.empty else over_time_drawing(found),
    }
    return render(request, "recipes/over_time.html", context)
