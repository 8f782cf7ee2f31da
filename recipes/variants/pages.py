"""Variants of a version: every machine type, and the editor of one."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.appraisal.appraisal import appraise
from recipes.formula.display import ratio_words, rows
from recipes.formula.forms import formula_initial
from recipes.formula.requirements import lacking
from recipes.variants.actions import remove_variant, set_variant
from recipes.variants.beginning import fitted
from recipes.variants.forms import VariantForm
from recipes.variants.showing import every_type
from recipes.versions.drafts import new_draft, newest_lot
from recipes.versions.models import Version
from recipes.versions.pages import shown_version, version_context
from recipes.versions.widths import house_widths
from stations.equipment.models import Site
from stations.machine_types.models import MachineType
from web.fields import RevisionForm
from web.form_pages import Attempt, cleaned, form_errors, form_page, posted, status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page


@page(Verb.RECIPE_VIEW)
def variants(request: PageRequest, pk: int) -> HttpResponse:
    """Every machine type: what the version says to it, and what it can't do of the whole."""
    shown = shown_version(pk)
    context = version_context(shown) | {
        "types": every_type(shown),
        "may_draft": may(request.user, Verb.RECIPE_DRAFT),
    }
    return render(request, "recipes/variants/variants.html", context)


@page(Verb.RECIPE_DRAFT, methods="GET POST")
def variant_edit(request: PageRequest, pk: int, machine_type: int) -> HttpResponse:
    """Write a draft's variant; a new one begins from what the type can do of the whole formula."""
    shown, of = shown_version(pk), _type(machine_type)
    there = shown.stated_for(of.pk)
    begun = there or fitted(shown.stated, of)
    initial = {"revision": shown.revision} | formula_initial(begun)
    form = VariantForm(posted(request), initial=initial, usual=house_widths())

    def act() -> str:
        revision = form.cleaned_data["revision"]
        values = form.values()
        set_variant(
            by=request.user, version=shown, machine_type=of, revision=revision, values=values
        )
        return shown.get_absolute_url()

    def context(attempt: Attempt) -> dict[str, object]:
        around = _around(request, shown, of, form)
        return around | {"stale": attempt.stale, "there": there, "may_remove": bool(there)}

    template, said = "recipes/variants/variant_edit.html", f"The variant for {of} was saved."
    if "work_out" in request.POST:  # nothing is saved: what follows from what is typed
        around = context(Attempt()) | {"form": form}
        return render(request, template, around, status=status_of(form))
    return form_page(request, template, form, act, said=said, context=context)


def _around(
    request: PageRequest, version: Version, of: MachineType, form: VariantForm
) -> dict[str, object]:
    """The draft, and what follows from what is typed, as far as it can be used."""
    whole = version.stated
    begun = version.stated_for(of.pk) or fitted(whole, of)
    typed = form.values() if form.is_bound and form.is_valid() else begun
    sites = Site.objects.covered_by(request.user, Verb.RECIPE_VIEW)
    return version_context(version) | {
        "machine_type": of,
        "lacks": lacking(whole, of),
        "unfit": lacking(typed, of),
        "differences": rows(whole, typed),
        "ratio": ratio_words(typed),
        "appraisal": appraise(typed, sites.filter(machines__machine_type=of).distinct()),
    }


@page(Verb.RECIPE_DRAFT, methods="POST")
def variant_remove(request: PageRequest, pk: int, machine_type: int) -> HttpResponse:
    """Let a draft say nothing of its own to this type."""
    shown, of, form = shown_version(pk), _type(machine_type), RevisionForm(request.POST)
    with form_errors(form) as attempt:
        revision = cleaned(form)["revision"]
        remove_variant(by=request.user, version=shown, machine_type=of, revision=revision)
    if attempt.ok:
        messages.success(request, f"The variant for {of} was removed.")
        return redirect(shown)
    context = version_context(shown_version(pk)) | {"form": form, "machine_type": of}
    return render(request, "recipes/variants/variant_removed.html", context, status=attempt.status)


@page(Verb.RECIPE_DRAFT, methods="POST")
def variant_draft(request: PageRequest, pk: int, machine_type: int) -> HttpResponse:
    """Begin the next version, to give it a variant."""
    base, of = shown_version(pk), _type(machine_type)
    lot = newest_lot(base.recipe)
    draft = new_draft(by=request.user, recipe=base.recipe, based_on=base, lot=lot)
    return redirect(reverse("recipes:variant_edit", args=[draft.pk, of.pk]))


def _type(pk: int) -> MachineType:
    return one_or_404(MachineType.objects.prefetch_related("abilities"), pk)
