"""One version, two side by side, and a draft being edited."""

from datetime import date

from django.contrib import messages
from django.db.models import Prefetch, QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from audit.errors import Stale
from people.persons.models import User
from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.coffees.actions import add_recipe
from recipes.coffees.forms import RecipeForm
from recipes.coffees.models import Recipe
from recipes.formula.comparison import rows, version_rows
from recipes.formula.forms import formula_initial
from recipes.formula.formula import stored
from recipes.station_water.volumes import own_water_words
from recipes.tastings.result import evidence_of
from recipes.translation.holding import slots_holding
from recipes.versions.appraisal import appraise
from recipes.versions.computed import ratio_words, rest_of
from recipes.versions.drafts import draft_from_shot, edit_draft, new_draft
from recipes.versions.forms import CommentForm, CompareForm, DraftForm
from recipes.versions.models import Version
from recipes.versions.requirements import requirements
from recipes.versions.review import barred
from stations.equipment.models import Site
from stations.shots.models import CheckShot
from web.form_pages_recipes import form_page, posted, retyped
from web.pages import PageRequest, form_errors, one_or_404, page_for, status_of


def shown_version(pk: int) -> Version:
    """The version with all that its pages print; 404 if there is none."""
    rows = Version.objects.with_recipe().select_related("submitted_by", "based_on")
    found: Version = one_or_404(rows.prefetch_related("formula", "based_on__formula"), pk)
    return found


def sites_of(user: User) -> QuerySet[Site]:
    """The sites this person may read about."""
    return Site.objects.covered_by(user, Verb.RECIPE_VIEW)


def version_context(version: Version) -> dict[str, object]:
    """The formula and what follows from it."""
    formula = stored(version.formula.all())
    today = timezone.now().date()
    return {
        "version": version,
        "recipe": version.recipe,
        "state": "returned" if version.is_returned else version.state,
        "lines": rows({}, formula),
        "ratio": ratio_words(formula),
        "own_water": own_water_words(formula),
        "rest": rest_of(version.lot, today) if version.lot else None,
    }


@page_for(Verb.RECIPE_VIEW)
def version(request: PageRequest, pk: int) -> HttpResponse:
    """One version: its formula, what a machine needs for it, who did what to it."""
    shown, user = shown_version(pk), request.user
    formula = stored(shown.formula.all())
    base = shown.based_on
    context = version_context(shown) | {
        "differences": rows(stored(base.formula.all()), formula) if base else [],
        "requirements": requirements(formula),
        "appraisal": (appraisal := appraise(formula, sites_of(user))),
        "unable": appraisal.unable,
        "evidence": evidence_of(shown),
        "may_taste": may(user, Verb.TASTING_RUN),
        "comments": shown.comments.select_related("by"),
        "slots": slots_holding(shown) if shown.signature_id else 0,
        "barred": barred(shown, user),
        "may_draft": may(user, Verb.RECIPE_DRAFT),
        "may_approve": may(user, Verb.RECIPE_APPROVE),
        "may_withdraw": may(user, Verb.RECIPE_WITHDRAW),
        "may_publish": may(user, Verb.PUBLICATION_PLAN),
        "may_ask": may(user, Verb.REQUEST_MAKE),
        "may_read_history": may(user, Verb.HISTORY_VIEW),
        "comment_form": CommentForm(),
    }
    return render(request, "recipes/versions/version.html", context)


@page_for(Verb.RECIPE_VIEW)
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


@require_POST
@page_for(Verb.RECIPE_DRAFT)
def draft_new(request: PageRequest, pk: int) -> HttpResponse:
    """Begin the next version from this one."""
    base = shown_version(pk)
    draft = new_draft(by=request.user, recipe=base.recipe, based_on=base, lot=base.lot)
    return redirect("recipes:version_edit", draft.pk)


@require_POST
@page_for(Verb.RECIPE_DRAFT)
def draft_first(request: PageRequest, pk: int) -> HttpResponse:
    """Begin a version of a recipe from nothing."""
    recipe = one_or_404(Recipe.objects.select_related("coffee"), pk)
    draft = new_draft(by=request.user, recipe=recipe)
    return redirect("recipes:version_edit", draft.pk)


@require_POST
@page_for(Verb.RECIPE_DRAFT)
def draft_captured(request: PageRequest, pk: int) -> HttpResponse:
    """Begin a version that aims at what a shot gave."""
    shot = one_or_404(CheckShot.objects.covered_by(request.user).with_place(), pk)
    draft = draft_from_shot(by=request.user, shot=shot)
    messages.success(request, f"{draft} aims at what the shot gave. Look it through, then save it.")
    return redirect("recipes:version_edit", draft.pk)


@page_for(Verb.RECIPE_DRAFT)
def version_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Edit a draft; on a conflict both sides are shown and what was typed stays typed."""
    shown = shown_version(pk)
    form = DraftForm(posted(request), initial=_initial(shown), version=shown)
    status, context = status_of(form), version_context(shown)
    if form.is_bound and form.is_valid():
        typed, given = form.cleaned_data, form.values()
        frame = {"note": typed["note"], "lot": typed["lot"], "revision": typed["revision"]}
        with form_errors(form) as outcome:
            edit_draft(by=request.user, version=shown, values=given, **frame)
        if outcome.ok:
            messages.success(request, f"{shown} was saved.")
            return redirect(shown)
        if isinstance(outcome.error, Stale):
            # The next save is made from what is shown now, knowingly.
            form.data = retyped(request, revision=outcome.error.current_revision)
            context["conflict"] = rows(stored(shown.formula.all()), given)
        status = outcome.status
    says = stored(shown.formula.all())
    context |= {"form": form, "comments": shown.comments.select_related("by")}
    context["appraisal"] = appraise(says, sites_of(request.user))
    return render(request, "recipes/versions/version_edit.html", context, status=status)


@require_POST
@page_for(Verb.RECIPE_DRAFT)
def version_appraisal(request: PageRequest, pk: int) -> HttpResponse:
    """What follows from a draft as it is typed, before it is saved."""
    shown = shown_version(pk)
    form = DraftForm(request.POST, version=shown)
    context: dict[str, object] = {"faulty": not form.is_valid()}
    if form.is_valid():
        context["appraisal"] = appraise(form.values(), sites_of(request.user))
    return render(request, "recipes/versions/partials/appraisal_typed.html", context)


def _initial(version: Version) -> dict[str, object]:
    frame = {"note": version.note, "lot": version.lot_id, "revision": version.revision}
    return frame | formula_initial(stored(version.formula.all()))


# Recipes: what there is, and one with all its versions.

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
    return render(request, "recipes/versions/recipes.html", context)


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
    return render(request, "recipes/versions/recipe.html", context)


@page_for(Verb.RECIPE_DRAFT)
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
