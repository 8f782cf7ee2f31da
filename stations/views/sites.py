"""Bars."""

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.timezone import now

from people.permissions import may, may_everywhere
from people.verbs import Verb
from people.web.pages import PageRequest, require_for_page
from stations.actions import add_site, change_site
from stations.checks import ZONES
from stations.forms.equipment import NewSiteForm, SiteForm
from stations.forms.filters import SiteFilter
from stations.models import Site
from stations.overview import boiling_point, site_overview
from stations.paging import keyset
from stations.views.answering import form_page, page, sent

FIELDS = ("name", "time_zone", "altitude")


@page()
def sites(request: PageRequest) -> HttpResponse:
    """The sites this person may see."""
    require_for_page(request, Verb.EQUIPMENT_VIEW)
    form = SiteFilter(request.GET)
    if not form.is_valid():
        return render(request, "stations/sites.html", {"form": form}, status=400)
    found = Site.objects.covered_by(request.user).annotate(
        machine_count=Count("machines", distinct=True),
        station_count=Count("machines__stations", distinct=True),
    )
    if form.cleaned_data["q"]:
        found = found.filter(name__icontains=form.cleaned_data["q"])
    context = {
        "form": form,
        "page": keyset(found, "name", request.GET),
        "now": now(),
        "may_edit": may_everywhere(request.user, Verb.EQUIPMENT_EDIT),
        "may_import": may(request.user, Verb.EQUIPMENT_IMPORT),
    }
    return render(request, "stations/sites.html", context)


@page()
def site(request: PageRequest, pk: int) -> HttpResponse:
    """One bar: its machines, and what each slot waits for."""
    shown = get_object_or_404(Site.objects.covered_by(request.user), pk=pk)
    context = {
        "site": shown,
        "now": now(),
        "boiling": boiling_point(shown),
        "overview": site_overview(shown, request.user),
        "may_calibrate": may(request.user, Verb.CALIBRATION_RECORD, shown.pk),
        "may_edit": may(request.user, Verb.EQUIPMENT_EDIT, shown.pk),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW, shown.pk),
    }
    return render(request, "stations/site.html", context)


@page("GET", "POST")
def site_add(request: PageRequest) -> HttpResponse:
    """Add a bar."""
    require_for_page(request, Verb.EQUIPMENT_EDIT, everywhere=True)
    form = NewSiteForm(sent(request))
    return form_page(
        request,
        "stations/site_form.html",
        form,
        lambda: add_site(**form.cleaned_data, by=request.user),
        said="{} was added.",
        context={"zones": sorted(ZONES)},
    )


@page("GET", "POST")
def site_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change a bar."""
    shown = get_object_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.EQUIPMENT_EDIT, shown.pk)
    initial = {name: getattr(shown, name) for name in FIELDS}
    form = SiteForm(sent(request), initial={**initial, "seen_revision": shown.revision})
    return form_page(
        request,
        "stations/site_form.html",
        form,
        lambda: change_site(site=shown, **form.cleaned_data, by=request.user),
        said="{} was changed.",
        context={"site": shown, "zones": sorted(ZONES)},
    )
