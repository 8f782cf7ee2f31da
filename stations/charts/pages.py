"""Control charts of a station, its capability, and another station beside it."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.charts.actions import freeze_baseline
from stations.charts.charting import RULES, baselines_of, charts_of, contents_of, shots_of, since
from stations.charts.comparing import capability_of, sameness
from stations.charts.drawing import charts_drawings, sameness_drawing
from stations.charts.forms import ChartForm, FreezeForm
from stations.equipment.models import Station
from stations.equipment.pages import covered_station
from stations.shots.judging import BOUNDS, LABELS
from web.form_pages import cleaned
from web.pages import PageRequest, page, require_for_page


@page()
def charts(request: PageRequest, pk: int) -> HttpResponse:
    """Individuals, moving range, EWMA and CUSUM of one value, against a frozen baseline."""
    station = covered_station(request, pk=pk)
    contents = contents_of(station)
    others = Station.objects.covered_by(request.user).exclude(pk=pk).with_equipment()
    form = ChartForm(request.GET, contents=contents, others=others)
    context: dict[str, object] = {
        "station": station,
        "site": station.machine.site,
        "form": form,
        "contents": contents,
        "may_freeze": may(request.user, Verb.CALIBRATION_RECORD, station.machine.site_id),
    }
    if not form.is_valid():
        return render(request, "stations/charts/charts.html", context, status=400)
    return render(request, "stations/charts/charts.html", context | _found(station, form))


def _found(station: Station, form: ChartForm) -> dict[str, object]:
    content, code, rules, beside, margin = form.wanted()
    baselines = baselines_of(station, content, code)
    shots = since(baselines[0] if baselines else None, shots_of(station, content, code))
    other = shots_of(beside, content, code) if beside else []
    charts = charts_of(station, content, code, RULES[rules])
    same = sameness(shots, other, code, margin) if beside else None
    return {
        "title": form.contents.get(content, ""),
        "label": LABELS[code],
        "unit": BOUNDS[code].unit,
        "shots": len(shots),
        "charts": charts,
        "baselines": baselines,
        "drawings": charts_drawings(charts) if charts else [],
        "capability": capability_of(shots, code),
        "beside": beside,
        "beside_shots": len(other),
        "margin": margin,
        "low_margin": -margin,
        "sameness": same,
        "interval": sameness_drawing(same) if same else None,
        "freeze_form": FreezeForm(initial={"content": content, "value": code}),
    }


@page(methods="POST")
def baseline_freeze(request: PageRequest, pk: int) -> HttpResponse:
    """Freeze the baseline from the newest shots."""
    station = covered_station(request, pk=pk)
    require_for_page(request, Verb.CALIBRATION_RECORD, station.machine.site_id)
    asked = cleaned(FreezeForm(request.POST))
    made = freeze_baseline(
        by=request.user,
        station=station,
        content_digest=asked["content"],
        code=asked["value"],
        reason=asked["reason"],
        newest=asked["newest"],
    )
    messages.success(request, "The baseline is frozen.")
    return redirect(f"{made.get_absolute_url()}&content={made.content_digest}")
