"""All sites at a glance."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from people.persons.models import User
from people.persons.verbs import Verb
from stations.charts.models import Drift
from stations.equipment.forms import BoardFilter
from stations.equipment.models import Site, Slot
from stations.slots.models import Placement
from web.form_pages import page
from web.pages import PageRequest, require_for_page
from web.paging import keyset

# All sites at a glance, for the page and the API alike.

COUNTS = ("differs", "drifts", "to_load", "on_permit", "by_hand", "matches")
NOTHING = dict.fromkeys(COUNTS, 0)


def board_counts(user: User) -> dict[int, dict[str, int]]:
    """By site, of those this person covers: slots by what they wait for, and stations that drift.

    Two queries. A site where neither is to be said is left out.
    """
    found = {
        row.pop("site"): {**NOTHING, **row} for row in Placement.objects.covered_by(user).board()
    }
    drifting = Drift.objects.covered_by(user).current().stations_by_site()
    for site, stations in drifting.items():
        found.setdefault(site, dict(NOTHING))["drifts"] = stations
    return found


def board_rows(
    sites: Sequence[Site], counts: Mapping[int, Mapping[str, int]]
) -> list[dict[str, Any]]:
    """Each site with its counts (of ``board_counts``) and how many slots it has."""
    slots = Slot.objects.count_by_site(site.pk for site in sites)
    return [
        {**counts.get(site.pk, NOTHING), "site": site, "slots": slots.get(site.pk, 0)}
        for site in sites
    ]


@page()
def board(request: PageRequest) -> HttpResponse:
    """Per site, slots by what they wait for, and stations that drift."""
    require_for_page(request, Verb.SLOT_VIEW)
    form = BoardFilter(request.GET)
    if not form.is_valid():
        return render(request, "stations/board/board.html", {"form": form}, status=400)
    counts = board_counts(request.user)
    sites = Site.objects.covered_by(request.user, Verb.SLOT_VIEW)
    if form.cleaned_data["q"]:
        sites = sites.filter(name__icontains=form.cleaned_data["q"])
    if show := form.cleaned_data["show"]:
        sites = sites.filter(pk__in=[pk for pk, row in counts.items() if row[show]])
    shown = keyset(sites, "name", request.GET)
    context = {"form": form, "page": shown, "rows": board_rows(shown.rows, counts)}
    context["totals"] = [(name, *_total(counts, name)) for name in COUNTS]
    return render(request, "stations/board/board.html", context)


def _total(counts: dict[int, dict[str, int]], name: str) -> tuple[int, int]:
    """How many slots (of what drifts: stations), at how many sites."""
    held = [row[name] for row in counts.values() if row[name]]
    return sum(held), len(held)
