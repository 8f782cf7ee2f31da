"""One version, two side by side, and a draft being edited."""

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from audit.errors import Stale
from people.models import User
from people.permissions import may
from people.verbs import Verb
from people.web.pages import PageRequest, form_errors, one_or_404, page_for, status_of
from recipes.actions.approval import barred
from recipes.actions.captures import draft_from_shot
from recipes.actions.drafts import edit_draft, new_draft
from recipes.appraisal import appraise
from recipes.compare import rows, version_rows
from recipes.computed import ratio_words, rest_of
from recipes.forms.compare import CompareForm
from recipes.forms.formula import formula_initial
from recipes.forms.versions import CommentForm, DraftForm
from recipes.formula import stored
from recipes.holding import slots_holding
from recipes.models import Recipe, Version
from recipes.requirements import requirements
from recipes.tastings.evidence import evidence_of
from recipes.views.answering import posted, retyped
from recipes.yielding import own_water_words
from stations.models import CheckShot, Site


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
    return render(request, "recipes/version.html", context)


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
    return render(request, "recipes/compare.html", context, status=status_of(form))


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
    return render(request, "recipes/version_edit.html", context, status=status)


@require_POST
@page_for(Verb.RECIPE_DRAFT)
def version_appraisal(request: PageRequest, pk: int) -> HttpResponse:
    """What follows from a draft as it is typed, before it is saved."""
    shown = shown_version(pk)
    form = DraftForm(request.POST, version=shown)
    context: dict[str, object] = {"faulty": not form.is_valid()}
    if form.is_valid():
        context["appraisal"] = appraise(form.values(), sites_of(request.user))
    return render(request, "recipes/partials/appraisal_typed.html", context)


def _initial(version: Version) -> dict[str, object]:
    frame = {"note": version.note, "lot": version.lot_id, "revision": version.revision}
    return frame | formula_initial(stored(version.formula.all()))
