"""Recipes: what there is, and one with all its versions."""

from datetime import date

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from people.permissions import may
from people.verbs import Verb
from people.web.pages import PageRequest, one_or_404, page_for
from recipes.actions.recipes import add_recipe
from recipes.compare import rows
from recipes.computed import ratio_words, rest_of
from recipes.forms.coffees import RecipeForm
from recipes.formula import stored
from recipes.models import Recipe, Version
from recipes.views.answering import form_page, posted

CLOSED = ("superseded", "withdrawn")


@page_for(Verb.RECIPE_VIEW)
def recipes(request: PageRequest) -> HttpResponse:
    """All recipes, each with its approved version and what is on its way."""
    live = Version.objects.exclude(state__in=CLOSED).order_by("-number")
    found = Recipe.objects.select_related("coffee").prefetch_related(
        Prefetch("versions", live.with_formula().select_related("lot"), to_attr="live")
    )
    today = timezone.now().date()
    context = {
        "rows": [_row(recipe, today) for recipe in found],
        "may_draft": may(request.user, Verb.RECIPE_DRAFT),
    }
    return render(request, "recipes/recipes.html", context)


def _row(recipe: Recipe, today: date) -> dict[str, object]:
    live: list[Version] = recipe.live  # type: ignore[attr-defined]
    approved = next((v for v in live if v.state == Version.State.APPROVED), None)
    formula = stored(approved.formula.all()) if approved else {}
    return {
        "recipe": recipe,
        "approved": approved,
        "ratio": ratio_words(formula),
        "rest": rest_of(approved.lot, today) if approved and approved.lot else None,
        "waiting": [v for v in live if v is not approved],
    }


@page_for(Verb.RECIPE_VIEW)
def recipe(request: PageRequest, pk: int) -> HttpResponse:
    """One recipe: the approved formula, and every version."""
    shown = one_or_404(Recipe.objects.select_related("coffee"), pk)
    versions = list(shown.versions.with_recipe())
    approved = next((v for v in versions if v.state == Version.State.APPROVED), None)
    formula = stored(approved.formula.all()) if approved else {}
    context = {
        "recipe": shown,
        "versions": versions,
        "approved": approved,
        "lines": rows({}, formula),
        "ratio": ratio_words(formula),
        "may_draft": may(request.user, Verb.RECIPE_DRAFT),
        "may_publish": may(request.user, Verb.PUBLICATION_PLAN),
        "may_ask": may(request.user, Verb.REQUEST_MAKE),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW),
    }
    return render(request, "recipes/recipe.html", context)


@page_for(Verb.RECIPE_DRAFT)
def recipe_add(request: PageRequest) -> HttpResponse:
    """Add a recipe."""
    initial = {"coffee": request.GET.get("coffee", "")}
    form = RecipeForm(posted(request), initial=initial)
    return form_page(
        request,
        "recipes/recipe_form.html",
        form,
        lambda: add_recipe(by=request.user, **form.cleaned_data),
        said="{} was added. Begin its first draft.",
        context={},
    )
