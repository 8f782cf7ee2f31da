"""What is brewed at a site, and opening and finishing a bag."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.timezone import now

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.equipment.models import Site, Station
from stations.equipment.pages import covered_station
from stations.grinders.models import Grinder
from stations.grinders.pages import covered_grinder
from stations.lots.actions import close_lot, open_at, open_lot, site_of
from stations.lots.forms import CloseForm, OpenForm
from stations.lots.models import LotOpening
from stations.lots.shelf import begins_at, newest_lots
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset

PER_LIST = 50


@page()
def lots(request: PageRequest, pk: int) -> HttpResponse:
    """What each grinder and station of a site brews, and what it brewed before."""
    site = one_or_404(Site.objects.covered_by(request.user, Verb.SLOT_VIEW), pk=pk)
    openings = LotOpening.objects.filter(site=site).with_place()
    current = list(openings.open().order_by("grinder__name", "station__machine__name", "pk"))
    context = {
        "site": site,
        "current": [(each, each.aged(now())) for each in current],
        "begins": begins_at(site.pk),
        "grinders": Grinder.objects.filter(site=site).order_by("name"),
        "past": keyset(openings.exclude(closed_at=None), "-pk", request.GET, size=PER_LIST),
        "may_open": may(request.user, Verb.LOT_OPEN, site.pk),
    }
    return render(request, "stations/lots/lots.html", context)


@page(methods="GET POST")
def lot_open_at_grinder(request: PageRequest, pk: int) -> HttpResponse:
    """Open a bag at a grinder."""
    return _open(request, covered_grinder(request, pk))


@page(methods="GET POST")
def lot_open_at_station(request: PageRequest, pk: int) -> HttpResponse:
    """Open a bag at a station that has no grinder of its own."""
    return _open(request, covered_station(request, pk=pk))


def _open(request: PageRequest, at: Grinder | Station) -> HttpResponse:
    site = site_of(at)
    require_for_page(request, Verb.LOT_OPEN, site.pk)
    current = open_at(at)
    initial = {"seen_opening": current.pk if current else None}
    form = OpenForm(posted(request), initial=initial)
    return form_page(
        request,
        "stations/lots/lot_open.html",
        form,
        lambda: open_lot(by=request.user, at=at, **form.cleaned_data),
        said="{} is open now.",
        context={
            "at": at,
            "site": site,
            "current": current,
            "aged": current.aged(now()) if current else None,
            "shelf": newest_lots(),
            "begins": begins_at(site.pk),
        },
    )


@page(methods="GET POST")
def lot_close(request: PageRequest, pk: int) -> HttpResponse:
    """Say that a bag is finished."""
    rows = LotOpening.objects.covered_by(request.user).with_place()
    opening: LotOpening = one_or_404(rows, pk=pk)
    require_for_page(request, Verb.LOT_OPEN, opening.site_id)
    form = CloseForm(posted(request))
    return form_page(
        request,
        "stations/lots/lot_close.html",
        form,
        lambda: close_lot(by=request.user, opening=opening, **form.cleaned_data),
        said="{} is finished.",
        context={"opening": opening, "site": opening.site},
    )
