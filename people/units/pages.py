"""Page: the units one reads and types in."""

from django import forms
from django.http import HttpResponse
from django.urls import reverse

from people.persons.units import Masses, Temperatures
from people.units.actions import choose_units
from web.fields import SeenRevision
from web.form_pages import form_page, posted
from web.pages import PageRequest, page


class UnitsForm(forms.Form):
    """How one's figures are shown."""

    revision = SeenRevision()
    temperatures = forms.ChoiceField(choices=Temperatures.choices, widget=forms.RadioSelect)
    masses = forms.ChoiceField(
        label="Dose, yield and weighed water", choices=Masses.choices, widget=forms.RadioSelect
    )


class _Here:
    """Where one lands after choosing: the same page, in the new units."""

    def get_absolute_url(self) -> str:
        return reverse("people:units")


@page(methods="GET POST")
def units(request: PageRequest) -> HttpResponse:
    """Choose them."""
    me = request.user
    initial = {"revision": me.revision, "temperatures": me.temperatures, "masses": me.masses}
    form = UnitsForm(posted(request), initial=initial)

    def choose() -> _Here:
        choose_units(by=me, **form.cleaned_data)
        return _Here()

    return form_page(
        request,
        "people/units/units.html",
        form,
        choose,
        said="Your units were changed.",
        context={},
    )
