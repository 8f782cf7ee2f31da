"""A site's water: its readings, what they hint at, other sites beside it."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.timezone import now

from people.permissions import may
from people.verbs import Verb
from people.web.pages import PageRequest, require_for_page
from stations.actions.water import record_water
from stations.forms.water import WaterForm
from stations.metrology.water import TRUST
from stations.models import Site, WaterReading
from stations.views.answering import form_page, page, sent
from stations.water import BOILER, beside, indices

SHOWN = 50


@page()
def water(request: PageRequest, pk: int) -> HttpResponse:
    """Newest first, with the index at a boiler's temperature."""
    site = get_object_or_404(Site.objects.covered_by(request.user), pk=pk)
    readings = list(site.water.select_related("by")[:SHOWN])
    newest = readings[0] if readings else None
    others = WaterReading.objects.covered_by(request.user).newest_of_each_site()
    context = {
        "site": site,
        "readings": readings,
        "newest": newest,
        "indices": indices(newest) if newest else [],
        "boiler": BOILER,
        "trust": TRUST,
        "beside": beside(newest, others.select_related("site")) if newest else [],
        "may_record": may(request.user, Verb.CALIBRATION_RECORD, site.pk),
    }
    return render(request, "stations/water.html", context)


@page("GET", "POST")
def water_add(request: PageRequest, pk: int) -> HttpResponse:
    """Enter a reading."""
    site: Site = get_object_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.CALIBRATION_RECORD, site.pk)
    form = WaterForm(sent(request), initial={"taken_on": site.local(now()).date()})
    return form_page(
        request,
        "stations/water_form.html",
        form,
        lambda: record_water(site=site, by=request.user, **form.cleaned_data),
        said="The {} was noted.",
        context={"site": site},
    )
