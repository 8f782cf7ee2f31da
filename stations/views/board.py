"""All sites at a glance."""

from django.http import HttpResponse
from django.shortcuts import render

from people.verbs import Verb
from people.web.pages import PageRequest, require_for_page
from stations.board import COUNTS, board_counts, board_rows
from stations.forms.filters import BoardFilter
from stations.models import Site
from stations.paging import keyset
from stations.views.answering import page


@page()
def board(request: PageRequest) -> HttpResponse:
    """Per site, slots by what they wait for, and stations that drift."""
    require_for_page(request, Verb.SLOT_VIEW)
    form = BoardFilter(request.GET)
    if not form.is_valid():
        return render(request, "stations/board.html", {"form": form}, status=400)
    counts = board_counts(request.user)
    sites = Site.objects.covered_by(request.user, Verb.SLOT_VIEW)
    if form.cleaned_data["q"]:
        sites = sites.filter(name__icontains=form.cleaned_data["q"])
    if show := form.cleaned_data["show"]:
        sites = sites.filter(pk__in=[pk for pk, row in counts.items() if row[show]])
    shown = keyset(sites, "name", request.GET)
    context = {"form": form, "page": shown, "rows": board_rows(shown.rows, counts)}
    context["totals"] = [(name, *_total(counts, name)) for name in COUNTS]
    return render(request, "stations/board.html", context)


def _total(counts: dict[int, dict[str, int]], name: str) -> tuple[int, int]:
    """How many slots (of what drifts: stations), at how many sites."""
    held = [row[name] for row in counts.values() if row[name]]
    return sum(held), len(held)
