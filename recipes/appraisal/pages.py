"""What follows from a draft while it is typed."""

from django.http import HttpResponse
from django.shortcuts import render

from people.persons.verbs import Verb
from recipes.appraisal.appraisal import appraise
from recipes.versions.forms import DraftForm
from recipes.versions.pages import shown_version
from recipes.versions.widths import house_widths
from stations.equipment.models import Site
from web.pages import PageRequest, page


@page(Verb.RECIPE_DRAFT, methods="POST")
def version_appraisal(request: PageRequest, pk: int) -> HttpResponse:
    """What follows from a draft as it is typed, before it is saved."""
    form = DraftForm(request.POST, version=shown_version(pk), usual=house_widths())
    context: dict[str, object] = {"faulty": not form.is_valid()}
    if form.is_valid():
        sites = Site.objects.covered_by(request.user, Verb.RECIPE_VIEW)
        context["appraisal"] = appraise(form.values(), sites)
    return render(request, "recipes/appraisal/typed.html", context)
