"""Recipes with their versions; one version; two side by side."""

from datetime import date

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.coffees.actions import add_recipe
from recipes.coffees.forms import RecipeForm
from recipes.coffees.models import Recipe, rest_of
from recipes.formula.display import own_water_words, ratio_words, rows
from recipes.formula.formula import Formula
from recipes.formula.requirements import requirements
from recipes.versions.differences import formula_rows, version_rows
from recipes.versions.forms import CommentForm, CompareForm
from recipes.versions.holding import slots_holding
from recipes.versions.models import Version
from recipes.versions.rebasing import draft_sides, newer_than_base
from recipes.versions.review import barred
from recipes.versions.standing import on_its_way, standing
from web.form_pages import form_page, posted, status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page

# What a version says, and what it began from said.
PARTS = ("formula", "variant_values", "based_on__formula", "based_on__variant_values")


def shown_version(pk: int) -> Version:
    """The version with all that its pages print; 404 if there is none."""
    rows = Version.objects.with_recipe().select_related("submitted_by", "based_on")
    version: Version = one_or_404(rows.prefetch_related(*PARTS), pk)
    return version


def version_context(version: Version) -> dict[str, object]:
    """The formula and what follows from it."""
    formula = version.stated
    today = timezone.now().date()
    return {
        "version": version,
        "formula": formula,
        "recipe": version.recipe,
        "state": "returned" if version.is_returned else version.state,
        "lines": rows(Formula(), formula),
        "ratio": ratio_words(formula),
        "own_water": own_water_words(formula),
        "rest": rest_of(version.lot, today) if version.lot else None,
    }


@page(Verb.RECIPE_VIEW)
def version(request: PageRequest, pk: int) -> HttpResponse:
    """One version: its formula, what a machine needs for it, who did what to it."""
    shown, user = shown_version(pk), request.user
    formula = shown.stated
    base, newer = shown.based_on, newer_than_base(shown)
    context = version_context(shown) | {
        "current": newer,
        "sides": draft_sides(shown, newer) if newer else [],
        "differences": formula_rows(base, shown) if base else [],
        "requirements": requirements(formula),
        "may_taste": may(user, Verb.TASTING_RUN),
        "comments": shown.comments.select_related("by"),
        "slots": slots_holding(shown) if shown.signature_id else 0,
        "barred": barred(shown, user),
        "may_draft": may(user, Verb.RECIPE_DRAFT),
        "may_approve": may(user, Verb.RECIPE_APPROVE),
        "may_withdraw": may(user, Verb.RECIPE_WITHDRAW),
        "may_publish": may(user, Verb.PUBLICATION_PLAN),
        "may_ask": may(user, Verb.REQUEST_MAKE),
        "may_read_history": may(user, Verb.RECIPE_HISTORY),
        "comment_form": CommentForm(),
    }
    return render(request, "recipes/versions/version.html", context)


@page(Verb.RECIPE_VIEW)
def compare(request: PageRequest, pk: int) -> HttpResponse:
    """Two versions of a recipe side by side; by default the newest against the one before."""
    recipe = one_or_404(Recipe.objects.select_related("coffee"), pk)
    versions = list(recipe.versions.with_recipe().with_formula())
    form = CompareForm(request.GET or CompareForm.newest(versions), versions=versions)
    context: dict[str, object] = {"recipe": recipe, "form": form}
    if form.is_valid():
        old, new = form.sides()
        context |= {"old": old, "new": new, "rows": version_rows(old, new)}
    return render(request, "recipes/versions/compare.html", context, status=status_of(form))


CLOSED = ("superseded", "withdrawn")


@page(Verb.RECIPE_VIEW)
def recipes(request: PageRequest) -> HttpResponse:
    """All recipes, each with its approved version and what is on its way."""
    live = Version.objects.exclude(state__in=CLOSED).order_by("-number")
    all_recipes = Recipe.objects.select_related("coffee").prefetch_related(
        Prefetch("versions", live.with_formula().select_related("lot"), to_attr="live")
    )
    today = timezone.now().date()
    context = {
        "rows": [_row(recipe, today) for recipe in all_recipes],
        "may_draft": may(request.user, Verb.RECIPE_DRAFT),
    }
    return render(request, "recipes/versions/recipes.html", context)


def _row(recipe: Recipe, today: date) -> dict[str, object]:
    live: list[Version] = recipe.live  # type: ignore[attr-defined]
    approved = next((v for v in live if v.state == Version.State.APPROVED), None)
    formula = approved.stated if approved else Formula()
    return {
        "recipe": recipe,
        "approved": approved,
        "ratio": ratio_words(formula),
        "rest": rest_of(approved.lot, today) if approved and approved.lot else None,
        "waiting": [v for v in live if v is not approved],
    }


@page(Verb.RECIPE_VIEW)
def recipe(request: PageRequest, pk: int) -> HttpResponse:
    """One recipe: the approved formula, and every version."""
    shown = one_or_404(Recipe.objects.select_related("coffee"), pk)
    versions = list(shown.versions.with_recipe())
    approved = next((v for v in versions if v.state == Version.State.APPROVED), None)
    formula = approved.stated if approved else Formula()
    sees_slots = may(request.user, Verb.SLOT_VIEW)
    context = {
        "may_see_slots": sees_slots,
        "standing": standing(shown, request.user, Verb.SLOT_VIEW) if sees_slots else None,
        "waiting": on_its_way(shown, request.user) if sees_slots else [],
        "recipe": shown,
        "versions": versions,
        "approved": approved,
        "lines": rows(Formula(), formula),
        "ratio": ratio_words(formula),
        "may_draft": may(request.user, Verb.RECIPE_DRAFT),
        "may_publish": may(request.user, Verb.PUBLICATION_PLAN),
        "may_ask": may(request.user, Verb.REQUEST_MAKE),
        "may_read_history": may(request.user, Verb.RECIPE_HISTORY),
    }
    return render(request, "recipes/versions/recipe.html", context)


@page(Verb.RECIPE_DRAFT, methods="GET POST")
def recipe_add(request: PageRequest) -> HttpResponse:
    """Add a recipe."""
    initial = {"coffee": request.GET.get("coffee", "")}
    form = RecipeForm(posted(request), initial=initial)
    return form_page(
        request,
        "recipes/versions/recipe_form.html",
        form,
        lambda: add_recipe(by=request.user, **form.cleaned_data),
        said="{} was added. Begin its first draft.",
        context={},
    )
