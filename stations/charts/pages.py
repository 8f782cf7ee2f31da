"""Control charts of a station, its capability, and another station beside it."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.charts.actions import freeze_baseline
from stations.charts.charting import (
    RULES,
    Charts,
    baselines_of,
    charts_of,
    frozen_baseline,
    lineage_at,
    shots_of,
    since,
)
from stations.charts.clearing import TO_CLEAR, open_from_before
from stations.charts.comparing import capability_of, sameness
from stations.charts.drawing import charts_drawings, kept_drawing, sameness_drawing
from stations.charts.forms import ChartForm, FreezeForm, KeepForm
from stations.charts.keeping import digest_of, figures_of, keep_chart, kept_shots, signalling
from stations.charts.lineage import contents_of
from stations.charts.models import KeptChart
from stations.equipment.models import Station
from stations.equipment.pages import covered_station
from stations.shots.judging import BOUNDS, LABELS
from web.form_pages import cleaned
from web.links import link_to
from web.lookup import one_or_404
from web.numbers import rounded
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
        "may_ask": may(request.user, Verb.REQUEST_MAKE, station.machine.site_id),
    }
    if not form.is_valid():
        return render(request, "stations/charts/charts.html", context, status=400)
    return render(request, "stations/charts/charts.html", context | _found(station, form))


def _found(station: Station, form: ChartForm) -> dict[str, object]:
    content, code, rules, beside, margin = form.wanted()
    lineage = lineage_at(station, content, code, form.contents)
    baselines = baselines_of(station, code, lineage)
    frozen = frozen_baseline(station, content, code, lineage)
    shots = since(frozen, shots_of(station, content, code, lineage))
    other = shots_of(beside, content, code, lineage) if beside else []
    charts = charts_of(station, content, code, RULES[rules], lineage)
    same = sameness(shots, other, code, margin) if beside else None
    return {
        "title": form.contents.get(content, ""),
        "label": LABELS[code],
        "unit": BOUNDS[code].unit,
        "lineage": lineage,
        "rests_on": lineage.rests_on(code),
        "open": open_from_before(station, content, code),
        "to_clear": TO_CLEAR,
        "shots": len(shots),
        "charts": charts,
        "frozen": frozen,
        "baselines": baselines,
        "drawings": charts_drawings(charts) if charts else [],
        "capability": capability_of(shots, code),
        "beside": beside,
        "beside_shots": len(other),
        "margin": margin,
        "low_margin": -margin,
        "sameness": same,
        "interval": sameness_drawing(same) if same else None,
        "freeze_form": FreezeForm(initial={"content": content, "value": code}, auto_id="freeze_%s"),
        "keep_form": _keep_form(charts, content, rules) if charts else None,
    }


def _keep_form(charts: Charts, content: str, rules: str) -> KeepForm:
    seen = digest_of(figures_of(charts, rules))
    asked = {"content": content, "value": charts.code, "rules": rules, "seen": seen}
    return KeepForm(initial=asked, auto_id=False)  # the filter's fields have those ids


@page(methods="POST")
def chart_keep(request: PageRequest, pk: int) -> HttpResponse:
    """Keep the chart as it was seen, and go where it is used as evidence."""
    station = covered_station(request, pk=pk)
    require_for_page(request, Verb.REQUEST_MAKE, station.machine.site_id)
    asked = cleaned(KeepForm(request.POST))
    kept = keep_chart(
        by=request.user,
        station=station,
        content_digest=asked["content"],
        code=asked["value"],
        rules=asked["rules"],
        seen=asked["seen"],
    )
    use = link_to("use_as_evidence")
    return redirect(f"{use}?chart={kept.pk}" if use else kept.get_absolute_url())


@page()
def kept_chart(request: PageRequest, pk: int) -> HttpResponse:
    """A chart as it stood when somebody kept it."""
    kept = one_or_404(KeptChart.objects.covered_by(request.user).with_place(), pk)
    figures = kept.figures
    context = {
        "kept": kept,
        "station": kept.station,
        "site": kept.site,
        "unit": figures["unit"],
        "figures": figures,
        **{name: rounded(float(figures[name]), 2) for name in ("centre", "lower", "upper")},
        "drawing": kept_drawing(kept),
        "shots": kept_shots(kept),
        "signalling": signalling(kept),
        "may_ask": may(request.user, Verb.REQUEST_MAKE, kept.site_id),
    }
    return render(request, "stations/charts/kept_chart.html", context)


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
