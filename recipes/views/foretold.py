"""A version poured by the shot model, as it stands and with a change."""

from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import render

from people.verbs import Verb
from people.web.fields import PlainDecimalField
from people.web.pages import PageRequest, page_for, status_of
from recipes.brewing.errors import QuantityError
from recipes.foretelling import Foretold, foretell
from recipes.formula import Entry, Formula, stored, target_bounds
from recipes.parameters import PARAMETERS
from recipes.views.versions import shown_version

CHANGEABLE = (
    "dose_mass", "beverage_mass", "water_volume", "brew_temperature", "preinfusion_time",
    "preinfusion_pressure", "rise_time", "brew_pressure",
)  # fmt: skip


class ChangeForm(forms.Form):
    """Other targets for some parameters; an empty one stays as the version says."""

    def __init__(self, *args: Any, formula: Formula) -> None:  # noqa: ANN401
        super().__init__(*args)
        for code in CHANGEABLE:
            parameter, says = PARAMETERS[code], formula.get(code, Entry()).target
            self.fields[code] = PlainDecimalField(
                label=parameter.label, bounds=target_bounds(parameter), required=False,
                help_text="Not stated" if says is None else f"Version: {says:f}",
            )  # fmt: skip

    def changed(self, formula: Formula) -> Formula:
        """The formula with what was typed."""
        typed = {code: self.cleaned_data[code] for code in CHANGEABLE}
        return formula | {code: Entry(new) for code, new in typed.items() if new is not None}


@page_for(Verb.RECIPE_VIEW)
def foretold(request: PageRequest, pk: int) -> HttpResponse:
    """What a change would do, by the model."""
    version = shown_version(pk)
    formula = stored(version.formula.all())
    form = ChangeForm(request.GET or None, formula=formula)
    context: dict[str, object] = {"version": version, "form": form}
    if not form.is_bound or form.is_valid():
        wanted = form.changed(formula) if form.is_bound else formula
        context |= _told(formula, wanted)
    return render(request, "recipes/foretold.html", context, status=status_of(form))


def _told(formula: Formula, wanted: Formula) -> dict[str, object]:
    changed = wanted != formula
    rows: list[tuple[str, Foretold]] = []
    try:
        rows.append(("as it stands", foretell(formula)))
    except QuantityError as error:
        if not changed:
            return {"fault": _fault(error)}
    try:
        told = foretell(wanted)
    except QuantityError as error:
        return {"fault": _fault(error)}
    if changed:
        rows.append(("with the change", told))
    return {"told": told, "rows": rows, "changed": changed}


def _fault(error: QuantityError) -> str:
    known = PARAMETERS.get(error.field)
    return (
        f"No shot can be modelled: {known.label if known else error.field} needs {error.allowed}."
    )
