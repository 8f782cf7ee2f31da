"""A site's water: its readings, what they hint at, other sites beside it."""

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.timezone import now

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.metrology.water import TRUST
from stations.metrology.water_units import AlkalinityUnit, HardnessUnit, TemperatureUnit
from stations.water.actions import (
    AMOUNT,
    CHLORIDE,
    CONDUCTIVITY,
    NOTE,
    PH,
    SOLIDS,
    TEMPERATURE,
    record_water,
)
from stations.water.models import WaterReading
from stations.water.reading import BOILER, beside, hints
from web.fields import number
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page

# A water report's values, each in the unit it came in.


SOLIDS_HINT = (
    "As weighed or as a report says. What a pen shows in mg/L or ppm it made from conductivity: "
    "switch it to µS/cm and enter that."
)


class WaterForm(forms.Form):
    """One reading."""

    taken_on = forms.DateField(label="Taken on", widget=forms.DateInput(attrs={"type": "date"}))
    ph = number("pH", PH, required=False)
    hardness_value = number("Hardness", AMOUNT, required=False)
    hardness_unit = forms.ChoiceField(choices=[(u.value, u.value) for u in HardnessUnit])
    alkalinity_value = number("Alkalinity", AMOUNT, required=False)
    alkalinity_unit = forms.ChoiceField(choices=[(u.value, u.value) for u in AlkalinityUnit])
    dissolved_solids = number("Dissolved solids (TDS)", SOLIDS, required=False, hint=SOLIDS_HINT)
    conductivity = number(
        "Conductivity", CONDUCTIVITY, required=False, hint="At 25 °C, which meters convert to."
    )
    chloride = number("Chloride", CHLORIDE, required=False)
    temperature = number("Temperature", TEMPERATURE, required=False, hint="Of the sample.")
    temperature_unit = forms.ChoiceField(choices=[(u.value, u.value) for u in TemperatureUnit])
    note = forms.CharField(max_length=NOTE, required=False)


SHOWN = 50


@page()
def water(request: PageRequest, pk: int) -> HttpResponse:
    """Newest first, with the index at a boiler's temperature."""
    site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    readings = list(site.water.select_related("by")[:SHOWN])
    newest = site.water.standing().first()
    others = WaterReading.objects.covered_by(request.user).newest_of_each_site()
    context = {
        "site": site,
        "readings": readings,
        "newest": newest,
        "hints": hints(newest) if newest else None,
        "boiler": BOILER,
        "trust": TRUST,
        "beside": beside(newest, others.select_related("site")) if newest else [],
        "may_record": may(request.user, Verb.CALIBRATION_RECORD, site.pk),
    }
    return render(request, "stations/water/water.html", context)


@page(methods="GET POST")
def water_add(request: PageRequest, pk: int) -> HttpResponse:
    """Enter a reading."""
    site: Site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.CALIBRATION_RECORD, site.pk)
    form = WaterForm(posted(request), initial={"taken_on": site.local(now()).date()})
    return form_page(
        request,
        "stations/water/water_form.html",
        form,
        lambda: record_water(by=request.user, site=site, **form.cleaned_data),
        said="The {} was noted.",
        context={"site": site},
    )
