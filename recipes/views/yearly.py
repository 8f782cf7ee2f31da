"""The owner's yearly summary of a site."""

import calendar
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.timezone import localdate

from audit.errors import Invalid
from people.verbs import Verb
from people.web.pages import PageRequest, require_for_page
from recipes.yearly.counts import MONTHS, year_of, years_of
from recipes.yearly.drawing import year_drawing
from stations.models import Site
from stations.views.answering import page


@page()
def year(request: PageRequest, pk: int) -> HttpResponse:
    """What was done, refused, placed, permitted and asked for there, month by month."""
    site = get_object_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.HISTORY_VIEW, site.pk)
    years = years_of(localdate(timezone=ZoneInfo(site.time_zone)))
    found = year_of(site, _asked(request, years))
    context = {
        "site": site,
        "year": found,
        "years": years,
        "months": [calendar.month_abbr[month] for month in MONTHS],
        "picture": None if found.empty else year_drawing(found),
    }
    return render(request, "recipes/year.html", context)


def _asked(request: PageRequest, years: list[int]) -> int:
    text = request.GET.get("year", str(years[0]))
    if not (text.isascii() and text.isdigit() and len(text) == 4 and text > "1969"):
        raise Invalid("year", text, "a year such as " + str(years[0]))
    return int(text)
