"""All sites at a glance."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from people.verbs import Verb
from people.web.pages import PageRequest, require_for_page
from stations.forms.filters import BoardFilter
from stations.models import Placement, Site, Slot
from stations.paging import keyset
from stations.views.answering import page

COUNTS = ("differs", "to_load", "on_permit", "by_hand", "matches")


@page()
def board(request: PageRequest) -> HttpResponse:
    """Per site, how many slots match, differ, wait to be loaded, are on permit or by hand."""
    require_for_page(request, Verb.SLOT_VIEW)
    form = BoardFilter(request.GET)
    if not form.is_valid():
        return render(request, "stations/board.html", {"form": form}, status=400)
    counts = {row["site"]: row for row in Placement.objects.covered_by(request.user).board()}
    sites = Site.objects.covered_by(request.user, Verb.SLOT_VIEW)
    if form.cleaned_data["q"]:
        sites = sites.filter(name__icontains=form.cleaned_data["q"])
    if show := form.cleaned_data["show"]:
        sites = sites.filter(pk__in=[pk for pk, row in counts.items() if row[show]])
    shown = keyset(sites, "name", request.GET)
    context = {"form": form, "page": shown, "rows": _rows(shown.rows, counts)}
    context["totals"] = [(name, *_total(counts, name)) for name in COUNTS]
    return render(request, "stations/board.html", context)


def _total(counts: dict[int, dict[str, int]], name: str) -> tuple[int, int]:
    """How many slots, at how many sites."""
    held = [row[name] for row in counts.values() if row[name]]
    return sum(held), len(held)


def _rows(sites: list[Site], counts: dict[int, dict[str, int]]) -> list[dict[str, Any]]:
    slots = Slot.objects.count_by_site(site.pk for site in sites)
    nothing = dict.fromkeys(COUNTS, 0)
    return [
        {"site": site, "slots": slots.get(site.pk, 0), **(counts.get(site.pk) or nothing)}
        for site in sites
    ]
