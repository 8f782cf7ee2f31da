"""The page of a site's week."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from people.persons.verbs import Verb
from stations.digest.changes import digest_of
from stations.digest.weeks import Week
from stations.equipment.models import Site
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page


@page()
def week(request: PageRequest, pk: int) -> HttpResponse:
    """What changed there within a week (?week=2026-W48), the running one where none is named."""
    site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.SLOT_VIEW, site.pk)
    running = Week.at(timezone.now(), site.time_zone)
    named = request.GET.get("week")
    chosen = running if named is None else Week.read(named, site.time_zone)
    context = {
        "site": site,
        "digest": digest_of(site, chosen),
        "week": chosen,
        "before": chosen.beside(-1),
        "after": chosen.beside(1) if chosen.monday < running.monday else None,
        "runs": chosen == running,
    }
    return render(request, "stations/digest/week.html", context)
