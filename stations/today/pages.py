"""One bar's day, for everybody who covers it."""

from django.http import HttpResponse
from django.shortcuts import render

from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.today.day import site_days, with_stations
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page


@page()
def today(request: PageRequest, pk: int) -> HttpResponse:
    """What this site needs today."""
    site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.SLOT_VIEW, site.pk)
    days = site_days(request.user, [site])
    with_stations(days)
    context = {"site": site, "day": days[0]}
    return render(request, "stations/today/today.html", context)
