"""Recipes out as a file, and in as drafts."""

import json

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from audit.errors import Invalid
from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.exchange.actions import import_recipes
from recipes.exchange.document import document, schema
from recipes.exchange.reading import MAX_BYTES, Given, read_json
from recipes.exchange.sheet import read_sheet, write_sheet
from recipes.versions.models import Version
from web.form_pages import posted
from web.pages import PageRequest, page, require_for_page
from web.printing import counted

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ORDER = ("recipe__coffee__name", "recipe__drink", "recipe")


class FileForm(forms.Form):
    """The file."""

    file = forms.FileField(
        label="File",
        help_text=f"JSON or XLSX, up to {MAX_BYTES // 1_000_000} MB, as the export writes it.",
        widget=forms.FileInput(attrs={"accept": ".json,.xlsx,application/json," + XLSX}),
    )


@page(Verb.RECIPE_VIEW, methods="GET POST")
def exchange(request: PageRequest) -> HttpResponse:
    """Download all approved recipes; upload some: all of a file is drafted, or nothing."""
    may_import = may(request.user, Verb.RECIPE_DRAFT)
    if request.method == "POST":
        require_for_page(request, Verb.RECIPE_DRAFT)
    form = FileForm(posted(request), request.FILES or None)
    context: dict[str, object] = {"form": form, "may_import": may_import}
    if form.is_bound and form.is_valid():
        try:
            done = import_recipes(by=request.user, recipes=_read(form))
        except Invalid as invalid:
            context["faults"] = invalid.problems
            return render(request, "recipes/exchange/exchange.html", context, status=400)
        drafts = counted(len(done.drafts), "draft")
        messages.success(request, f"{drafts} begun, {done.unchanged} unchanged.")
        return redirect("recipes:recipes")
    status = 400 if form.errors else 200
    return render(request, "recipes/exchange/exchange.html", context, status=status)


def _read(form: FileForm) -> list[Given]:
    """The recipes of the file: a spreadsheet is a ZIP archive, and begins like one."""
    data = form.cleaned_data["file"].read(MAX_BYTES + 1)
    return read_sheet(data) if data.startswith(b"PK") else read_json(data)


def exported() -> dict[str, object]:
    """All approved recipes, in order of coffee and drink: three queries, a fourth for variants."""
    versions = Version.objects.approved().with_recipe().with_formula().order_by(*ORDER)
    return document(versions)


@page(Verb.RECIPE_VIEW)
def export_json(request: PageRequest) -> HttpResponse:
    """All approved recipes as JSON."""
    text = json.dumps(exported(), indent=1, ensure_ascii=False)
    return _file(text.encode(), "application/json", "recipes.json")


@page(Verb.RECIPE_VIEW)
def export_sheet(request: PageRequest) -> HttpResponse:
    """The same as a spreadsheet."""
    recipes = exported()["recipes"]
    assert isinstance(recipes, list)
    return _file(write_sheet(recipes), XLSX, "recipes.xlsx")


@page(Verb.RECIPE_VIEW)
def exchange_schema(request: PageRequest) -> HttpResponse:
    """The JSON Schema of the file."""
    text = json.dumps(schema(request.build_absolute_uri(request.path)), indent=1)
    return HttpResponse(text, content_type="application/schema+json")


def _file(data: bytes, kind: str, name: str) -> HttpResponse:
    answer = HttpResponse(data, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
