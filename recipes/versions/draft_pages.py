"""Drafts: begun from nothing, from a version or from a shot, and edited."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect

from people.persons.verbs import Verb
from recipes.coffees.models import Recipe
from recipes.formula.forms import formula_initial
from recipes.versions.drafts import draft_from_shot, edit_draft, new_draft
from recipes.versions.forms import DraftForm
from recipes.versions.models import Version
from recipes.versions.pages import shown_version, version_context
from stations.shots.models import CheckShot
from web.form_pages import Attempt, form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page


@page(Verb.RECIPE_DRAFT, methods="POST")
def draft_new(request: PageRequest, pk: int) -> HttpResponse:
    """Begin the next version from this one."""
    base = shown_version(pk)
    draft = new_draft(by=request.user, recipe=base.recipe, based_on=base, lot=base.lot)
    return redirect("recipes:version_edit", draft.pk)


@page(Verb.RECIPE_DRAFT, methods="POST")
def draft_first(request: PageRequest, pk: int) -> HttpResponse:
    """Begin a version of a recipe from nothing."""
    recipe = one_or_404(Recipe.objects.select_related("coffee"), pk)
    draft = new_draft(by=request.user, recipe=recipe)
    return redirect("recipes:version_edit", draft.pk)


@page(Verb.RECIPE_DRAFT, methods="POST")
def draft_captured(request: PageRequest, pk: int) -> HttpResponse:
    """Begin a version that aims at what a shot gave."""
    shot = one_or_404(CheckShot.objects.covered_by(request.user).with_place(), pk)
    draft = draft_from_shot(by=request.user, shot=shot)
    messages.success(request, f"{draft} aims at what the shot gave. Look it through, then save it.")
    return redirect("recipes:version_edit", draft.pk)


@page(Verb.RECIPE_DRAFT, methods="GET POST")
def version_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Edit a draft; on a conflict both sides are shown and what was typed stays typed."""
    shown = shown_version(pk)
    form = DraftForm(posted(request), initial=_initial(shown), version=shown)

    def act() -> Version:
        typed = form.cleaned_data
        frame = {"note": typed["note"], "lot": typed["lot"], "revision": typed["revision"]}
        edit_draft(by=request.user, version=shown, values=form.values(), **frame)
        return shown

    def context(attempt: Attempt) -> dict[str, object]:
        comments = shown.comments.select_related("by")
        return version_context(shown) | {"comments": comments, "stale": attempt.stale}

    template = "recipes/versions/version_edit.html"
    return form_page(request, template, form, act, said="{} was saved.", context=context)


def _initial(version: Version) -> dict[str, object]:
    frame = {"note": version.note, "lot": version.lot_id, "revision": version.revision}
    return frame | formula_initial(version.stated)
