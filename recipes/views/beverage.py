"""How much water a station needs for a beverage mass."""

from decimal import Decimal

from django import forms
from django.http import HttpResponse
from django.shortcuts import render

from people.verbs import Verb
from people.web.fields import PlainDecimalField
from people.web.pages import PageRequest, one_or_404, page_for, status_of
from recipes.formula import target_bounds
from recipes.parameters import PARAMETERS
from recipes.retention import balance_of
from recipes.water_now import waters_now
from stations.models import Station


class BeverageForm(forms.Form):
    """What should be in the cup, from how much coffee."""

    dose = PlainDecimalField(
        label="Dose", bounds=target_bounds(PARAMETERS["dose_mass"]), initial=Decimal(18)
    )
    beverage = PlainDecimalField(
        label="Beverage mass", bounds=target_bounds(PARAMETERS["beverage_mass"]),
        initial=Decimal(36),
    )  # fmt: skip


@page_for(Verb.EQUIPMENT_VIEW)
def beverage(request: PageRequest, pk: int) -> HttpResponse:
    """Retained liquid, learnt from the station's shots, and what follows from it."""
    station = one_or_404(Station.objects.covered_by(request.user).with_equipment(), pk)
    form = BeverageForm(request.GET or {"dose": "18", "beverage": "36"})
    context: dict[str, object] = {
        "station": station, "site": station.machine.site, "form": form,
    }  # fmt: skip
    if form.is_valid():
        told = form.cleaned_data
        context["balance"] = balance_of(station, told["dose"], told["beverage"])
    context["waters"] = waters_now(station)
    return render(request, "recipes/beverage.html", context, status=status_of(form))
