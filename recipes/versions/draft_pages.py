"""Drafts: begun from nothing, from a version or from a shot, and edited."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from people.persons.verbs import Verb
from recipes.coffees.models import Recipe
from recipes.formula.display import ratio_words, rows
from recipes.formula.forms import formula_initial
from recipes.formula.formula import Formula
from recipes.versions.dial_in import draft_from_shot, poured_under, propose, recipes_for
from recipes.versions.drafts import edit_draft, new_draft, newest_lot
from recipes.versions.forms import CapturedForm, DraftForm, MoveForm
from recipes.versions.models import Version
from recipes.versions.pages import shown_version, version_context
from recipes.versions.rebasing import draft_sides, newer_than_base, rebase_draft
from recipes.versions.widths import house_widths
from stations.shots.models import CheckShot
from web.form_pages import Attempt, form_page, posted, status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page


@page(Verb.RECIPE_DRAFT, methods="POST")
def draft_new(request: PageRequest, pk: int) -> HttpResponse:
    """Begin the next version from this one."""
    base = shown_version(pk)
    lot = newest_lot(base.recipe)
    draft = new_draft(by=request.user, recipe=base.recipe, based_on=base, lot=lot)
    return redirect("recipes:version_edit", draft.pk)


@page(Verb.RECIPE_DRAFT, methods="POST")
def draft_first(request: PageRequest, pk: int) -> HttpResponse:
    """Begin a version of a recipe from nothing."""
    recipe = one_or_404(Recipe.objects.select_related("coffee"), pk)
    draft = new_draft(by=request.user, recipe=recipe, lot=newest_lot(recipe))
    return redirect("recipes:version_edit", draft.pk)


@page(Verb.RECIPE_DRAFT, methods="GET POST")
def draft_captured(request: PageRequest, pk: int) -> HttpResponse:
    """Begin a version that aims at what a shot gave; on a slot set by hand, of which recipe."""
    shot = one_or_404(CheckShot.objects.covered_by(request.user).with_place(), pk)
    signed = poured_under(shot) is not None
    form = CapturedForm(None if signed else posted(request), recipes=recipes_for(shot))
    if signed and request.method == "POST":
        draft = draft_from_shot(by=request.user, shot=shot)
        messages.success(request, AIMS.format(draft))
        variant = shot.placement.settings.variant_id
        return redirect(_variant_editor(draft, variant) if variant else _editor(draft))
    return form_page(
        request,
        "recipes/versions/draft_captured.html",
        form,
        lambda: _editor(
            draft_from_shot(by=request.user, shot=shot, recipe=form.cleaned_data["recipe"])
        ),
        said="Every setting of the machine is taken over. Look it through, then save it.",
        context={"shot": shot, "signed": signed, "proposed": None if signed else _proposed(shot)},
    )


AIMS = "{} aims at what the shot gave. Look it through, then save it."


def _editor(draft: Version) -> str:
    return reverse("recipes:version_edit", args=[draft.pk])


def _variant_editor(draft: Version, machine_type: int) -> str:
    return reverse("recipes:variant_edit", args=[draft.pk, machine_type])


def _proposed(shot: CheckShot) -> dict[str, object]:
    """What the draft would say, whatever recipe it is of."""
    proposed = propose(shot)
    return {
        "lines": rows(Formula(), proposed.formula),
        "ratio": ratio_words(proposed.formula),
        "lot": proposed.lot,
        "notes": proposed.notes,
    }


@page(Verb.RECIPE_DRAFT, methods="GET POST")
def version_move(request: PageRequest, pk: int) -> HttpResponse:
    """Put a draft on the approved version, row by row."""
    shown = shown_version(pk)
    current = newer_than_base(shown)
    lines = draft_sides(shown, current) if current else []
    seen = {"revision": shown.revision, "current": current.pk if current else ""}
    form = MoveForm(posted(request), initial=seen, lines=lines)
    return form_page(
        request,
        "recipes/versions/version_move.html",
        form,
        lambda: rebase_draft(
            by=request.user,
            version=shown,
            revision=form.cleaned_data["revision"],
            current=form.cleaned_data["current"] or 0,
            choices=form.choices(),
        ),
        said="{} stands on the approved version.",
        context=version_context(shown) | {"current": current, "sides": lines},
    )


@page(Verb.RECIPE_DRAFT, methods="GET POST")
def version_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Edit a draft; on a conflict both sides are shown and what was typed stays typed."""
    shown = shown_version(pk)
    form = DraftForm(posted(request), initial=_initial(shown), version=shown, usual=house_widths())

    def act() -> Version:
        typed = form.cleaned_data
        frame = {"note": typed["note"], "lot": typed["lot"], "revision": typed["revision"]}
        edit_draft(by=request.user, version=shown, values=form.values(), **frame)
        return shown

    def context(attempt: Attempt) -> dict[str, object]:
        return _edit_context(shown, form) | {"stale": attempt.stale}

    template = "recipes/versions/version_edit.html"
    if "work_out" in request.POST:  # nothing is saved: what follows from what is typed
        around = _edit_context(shown, form) | {"form": form}
        return render(request, template, around, status=status_of(form))
    return form_page(request, template, form, act, said="{} was saved.", context=context)


def _edit_context(version: Version, form: DraftForm) -> dict[str, object]:
    """The draft with what was typed in place of what is stored, as far as it can be used."""
    typed = form.values() if form.is_bound and form.is_valid() else version.stated
    current = newer_than_base(version)
    sides = draft_sides(version, current) if current else []
    return version_context(version) | {
        "formula": typed,
        "ratio": ratio_words(typed),
        "comments": version.comments.select_related("by"),
        "newer": current,
        "undoes": [line for line in sides if line.undoes],
    }


def _initial(version: Version) -> dict[str, object]:
    frame = {"note": version.note, "lot": version.lot_id, "revision": version.revision}
    return frame | formula_initial(version.stated)
