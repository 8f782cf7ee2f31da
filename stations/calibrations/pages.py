"""Calibrations: which are due, recording one, and a site's barometer."""

from datetime import timedelta
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.timezone import now

from audit.errors import Invalid, OneMoreStep
from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.calibrations.actions import record_barometer, record_calibration, record_figure
from stations.calibrations.forms import BarometerForm, CalibrationForm, FigureForm, usual_due
from stations.calibrations.models import UNITS, Calibration
from stations.calibrations.outcome import COLUMNS, read_runs, work_out
from stations.equipment.models import Site, Station
from stations.equipment.pages import covered_station
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset

SOON = timedelta(days=30)
METER = Calibration.Kind.FLOW_METER.value


@page()
def calibrations(request: PageRequest) -> HttpResponse:
    """What waits for a decision, what is due within a month, what was never measured."""
    require_for_page(request, Verb.EQUIPMENT_VIEW)
    today = now().date()
    rows = Calibration.objects.covered_by(request.user).with_place()
    never = Station.objects.covered_by(request.user).filter(calibrations=None).with_equipment()
    context = {
        "waiting": rows.waiting().order_by("id")[:100],
        "due": rows.due_by(today + SOON).order_by("due_on")[:100],
        "never": never[:100],
        "anew": Station.objects.covered_by(request.user).to_calibrate_anew().with_equipment()[:100],
        "page": keyset(rows, "-id", request.GET, size=50),
        "today": today,
        "may_record": may(request.user, Verb.CALIBRATION_RECORD),
    }
    return render(request, "stations/calibrations/calibrations.html", context)


@page(methods="GET POST")
def calibration_new(request: PageRequest, pk: int) -> HttpResponse:
    """Enter runs of the flow meter, or with ?kind=temperature readings of the thermometer.

    They can be worked out as often as one likes: only what is recorded is kept and listed.
    """
    station = covered_station(request, pk=pk)
    site = station.machine.site
    require_for_page(request, Verb.CALIBRATION_RECORD, site.pk)
    kind = _kind(request)
    first = {"due_on": usual_due(site.local(now()).date())}
    form = CalibrationForm(kind, station, posted(request), initial=first)
    around: dict[str, Any] = {
        "station": station,
        "site": site,
        "kind": kind,
        "unit_of_value": UNITS[kind],
        "outcome": None,
    }

    def act() -> Calibration:
        if not form.trying:
            return _record(request, form)
        around["outcome"] = work_out(kind, read_runs(kind, form.cleaned_data["runs"]), site)
        raise OneMoreStep("Nothing is kept yet.")

    return form_page(
        request,
        "stations/calibrations/calibration_new.html",
        form,
        act,
        said="Recorded as {}; nothing at the station changes until it is accepted.",
        context=around,
    )


@page(methods="GET POST")
def figure_new(request: PageRequest, pk: int) -> HttpResponse:
    """Enter a figure by hand, of the flow meter or with ?kind=temperature of the thermometer."""
    station = covered_station(request, pk=pk)
    site = station.machine.site
    require_for_page(request, Verb.CALIBRATION_RECORD, site.pk)
    kind = _kind(request)
    in_use = station.temperature_offset if kind != METER else station.pulses_per_millilitre
    first = {"due_on": usual_due(site.local(now()).date())}
    form = FigureForm(kind, station, posted(request), initial=first)
    return form_page(
        request,
        "stations/calibrations/figure.html",
        form,
        lambda: record_figure(
            by=request.user,
            station=station,
            kind=kind,
            answers=form.answers(),
            **{name: form.cleaned_data[name] for name in ("value", "reason", "due_on")},
        ),
        said="Recorded as {}; nothing at the station changes until it is accepted.",
        context={
            "station": station, "site": site, "kind": kind, "in_use": in_use,
            "unit_of_value": UNITS[kind],
        },
    )  # fmt: skip


def _kind(request: PageRequest) -> str:
    """What ?kind= names; the flow meter where it names nothing."""
    kind = request.GET.get("kind", METER)
    if kind not in COLUMNS:
        raise Invalid("kind", kind, f"one of {', '.join(COLUMNS)}")
    return kind


def _record(request: PageRequest, form: CalibrationForm) -> Calibration:
    return record_calibration(
        by=request.user,
        station=form.station,
        kind=form.kind,
        runs=form.cleaned_data["runs"],
        due_on=form.cleaned_data["due_on"],
        answers=form.answers(),
    )


@page(methods="GET POST")
def barometer(request: PageRequest, pk: int) -> HttpResponse:
    """Note what a barometer shows at a site."""
    site: Site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.CALIBRATION_RECORD, site.pk)
    first = {
        "revision": site.revision,
        "air_pressure": site.air_pressure,
        "read_on": site.local(now()).date(),
    }
    form = BarometerForm(posted(request), initial=first)
    return form_page(
        request,
        "stations/calibrations/barometer.html",
        form,
        lambda: record_barometer(by=request.user, site=site, **form.cleaned_data),
        said=(
            "The barometer's reading at {} is noted."
            if request.POST.get("air_pressure")
            else "{} goes by its altitude again: no reading was entered."
        ),
        context={"site": site, "boiling": site.boiling_point},
    )
