"""Pages that show several matters together: all sites, one site, one station, one slot."""

from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.timezone import now

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.board.rows import COUNTS, board_counts, board_rows, site_overview
from stations.causes.models import CauseFinding
from stations.charts.models import Drift
from stations.equipment.actions import add_slots
from stations.equipment.forms import SiteFilter, SlotsForm
from stations.equipment.models import Site, Slot, Station
from stations.equipment.pages import covered_station
from stations.equipment.replaced import Part, Replacement
from stations.lots.shelf import begins_at
from stations.metrology.formula import WATER
from stations.opening.models import OpeningPolicy
from stations.shots.models import CheckShot
from stations.slots.arranged import arranged_at
from stations.slots.bases import say_part_of, say_waiting, who_may_change
from stations.slots.holdings import Holding, holdings
from stations.slots.models import Placement, ReadBack
from stations.slots.pages import covered_holding, rights
from stations.slots.unverified import say_unverified
from stations.slots.verdicts import lines_of
from web.form_pages import form_errors
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset
from web.printing import counted

CONDITIONS = {
    "": "All sites",
    "differs": "Sites with slots that differ",
    "outside": "Sites with slots that pour out of tolerance",
    "drifts": "Sites with stations that drift",
    "to_load": "Sites with slots to load",
    "on_permit": "Sites with slots on permit",
    "by_hand": "Sites with slots set by hand",
}


class BoardFilter(SiteFilter):
    """Sites by name and by what their slots are waiting for."""

    show = forms.ChoiceField(label="Show", required=False, choices=list(CONDITIONS.items()))


PER_LIST = 25


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


@page()
def site(request: PageRequest, pk: int) -> HttpResponse:
    """One bar: its machines, and what each slot waits for."""
    shown = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    context = {
        "site": shown,
        "now": now(),
        "boiling": shown.boiling_point,
        "arranged": arranged_at(shown.pk),
        "begins": begins_at(shown.pk),
        "overview": site_overview(shown, request.user),
        "opening": OpeningPolicy.of(shown),
        "may_set_opening": may(request.user, Verb.OPENING_SET, shown.pk),
        "may_calibrate": may(request.user, Verb.CALIBRATION_RECORD, shown.pk),
        "may_enrol": may(request.user, Verb.TABLET_ENROL, shown.pk),
        "may_edit": may(request.user, Verb.SITE_EDIT, shown.pk),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW, shown.pk),
    }
    return render(request, "stations/board/site.html", context)


@page(kept=True)
def station(request: PageRequest, pk: int) -> HttpResponse:
    """One brewing group: its traits and its slots."""
    shown = covered_station(request, pk=pk)
    return _station_page(request, shown, SlotsForm(initial={"total": shown.slots.count()}))


def _station_page(
    request: PageRequest, shown: Station, form: SlotsForm, status: int = 200
) -> HttpResponse:
    site = shown.machine.site
    slots = Slot.objects.covered_by(request.user).filter(station=shown)
    context = {
        "station": shown,
        "site": site,
        "holdings": say_unverified(holdings(slots)),
        "form": form,
        "drifts": shown.drifts.current(),
        "findings": CauseFinding.objects.lasting().filter(station=shown),
        "replaced": Replacement.objects.touching(shown).order_by("-at", "-id")[:10],
        "meter_gone": _gone(shown, Part.FLOW_METER, shown.pulses_per_millilitre),
        "probe_gone": _gone(shown, Part.PROBE, shown.temperature_offset),
        "calibrations": shown.calibrations.select_related("station__machine__site")[:10],
        "may_calibrate": may(request.user, Verb.CALIBRATION_RECORD, site.pk),
        "may_edit": may(request.user, Verb.EQUIPMENT_EDIT, site.pk),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW, site.pk),
    }
    return render(request, "stations/board/station.html", context, status=status)


def _gone(station: Station, part: Part, figure: Decimal | None) -> Replacement | None:
    """Since when there is no valid calibration of a part that was replaced."""
    return Replacement.objects.newest_at(station, part) if figure is None else None


@page(methods="POST")
def slots_add(request: PageRequest, pk: int) -> HttpResponse:
    """Give a station more slots."""
    shown = covered_station(request, pk=pk)
    require_for_page(request, Verb.EQUIPMENT_EDIT, shown.machine.site_id)
    form = SlotsForm(request.POST)
    if form.is_valid():
        with form_errors(form):
            count = len(add_slots(by=request.user, station=shown, **form.cleaned_data))
            messages.success(request, f"{counted(count, 'slot')} added.")
            return redirect(shown)
    return _station_page(request, shown, form, status=400)


@page(kept=True)
def slot(request: PageRequest, pk: int) -> HttpResponse:
    """One slot and its whole story."""
    holding = covered_holding(request, pk)
    site = holding.slot.station.machine.site
    read_backs = ReadBack.objects.filter(slot=pk).select_related(
        "by", "gateway", "placement__settings"
    )
    last = _last_read_back(holding)
    waiting, past = (
        _waiting(pk),
        keyset(_past(pk), "-id", request.GET, prefix="past_", size=PER_LIST),
    )
    say_part_of([*filter(None, [holding.placement]), *waiting, *past.rows])
    context = {
        "holding": holding,
        "slot": holding.slot,
        "site": site,
        "last": last,
        "lines": lines_of(holding.placement.settings.values, last) if holding.placement else [],
        "drifts": _drifts(holding),
        "waiting": waiting,
        "shots": keyset(_shots(pk), "-id", request.GET, prefix="shot_", size=PER_LIST),
        "metered": holding.placement and WATER in holding.placement.settings.values,
        "past": past,
        "read_backs": keyset(read_backs, "-id", request.GET, prefix="read_", size=PER_LIST),
        "who_may": who_may_change(),
        **rights(request, site.pk),
    }
    return render(request, "stations/board/slot.html", context)


def _last_read_back(holding: Holding) -> ReadBack | None:
    """The newest read-back of what is in force now; an older placement's says nothing about it."""
    if holding.placement is None or holding.placement.verdict == Placement.Verdict.UNREAD:
        return None
    rows = ReadBack.objects.filter(placement=holding.placement).select_related("by", "gateway")
    return rows.order_by("-at", "-id").first()


def _drifts(holding: Holding) -> list[Drift]:
    """What drifts of what the slot should hold, or did before: until shots cleared it."""
    if holding.placement is None:
        return []
    content = holding.placement.settings.content_digest
    before = Q(held=False, shot__slot=holding.slot)
    drifts = holding.slot.station.drifts.current()
    return list(drifts.filter(Q(content_digest=content) | before))


def _waiting(slot_id: int) -> list[Placement]:
    """What is scheduled, and what is set aside for a time."""
    states = [Placement.State.SCHEDULED, Placement.State.SUSPENDED]
    rows = Placement.objects.filter(slot=slot_id, state__in=states)
    found = list(rows.select_related("settings", "signature").order_by("due_at"))
    say_waiting(found)
    return found


def _shots(slot_id: int) -> Any:  # noqa: ANN401
    rows = CheckShot.objects.filter(slot=slot_id)
    return rows.select_related("by", "gateway", "placement__settings", "opening__site")


def _past(slot_id: int) -> Any:  # noqa: ANN401
    states = [Placement.State.ENDED, Placement.State.CANCELLED]
    rows = Placement.objects.filter(slot=slot_id, state__in=states)
    return rows.select_related("settings", "signature")
