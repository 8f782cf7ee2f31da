"""Endpoints: control charts of a station, frozen baselines, capability, two stations."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.verbs import Verb
from stations.charts.actions import freeze_baseline
from stations.charts.charting import RULES, charts_of, frozen_baseline, lineage_at, shots_of, since
from stations.charts.comparing import capability_of, limits_of, sameness
from stations.charts.keeping import digest_of, figures_of
from stations.charts.lineage import Lineage, contents_of
from stations.charts.models import ChartBaseline
from stations.charts.serializers import (
    BaselineIn,
    BaselineOut,
    BesideOut,
    CapableOut,
    ChartOut,
    ChartQuery,
    EquivalenceQuery,
    ShotsQuery,
    capable,
    charted,
    compared,
)
from stations.equipment.models import Station
from stations.shots.judging import BOUNDS
from web.api import GuardedView, Listing, asked, listed, person, valid
from web.idempotency import acting
from web.lookup import named, one_or_404


class StationView(GuardedView):
    """What is worked out from a station's check shots."""

    verb = Verb.EQUIPMENT_VIEW

    def station(self, pk: int) -> Station:
        """The station, where this person's roles cover it. Raises NotFound."""
        stations = Station.objects.covered_by(person(self.request))
        row: Station = one_or_404(stations.select_related("machine__site"), pk=pk)
        return row


class Charts(StationView):
    """Control charts."""

    query = ChartQuery

    @extend_schema(responses=ChartOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read individuals, moving range, EWMA and CUSUM with their limits and signals."""
        station, query = self.station(pk), asked(ChartQuery, request)
        about = _about(station, query)
        lineage = _lineage(station, about)
        rules = RULES[query["rules"]]
        charts = charts_of(station, about["content"], query["value"], rules, lineage)
        seen = digest_of(figures_of(charts, query["rules"])) if charts else ""
        shown = about | {
            "rules": query["rules"],
            "carried_over": [one.content_digest for one in lineage.carried],
            "anew": lineage.why_anew,
            "charts": charts and charted(charts),
            "seen": seen,
        }
        return Response(ChartOut(shown).data)


class Baselines(StationView, Listing):
    """Frozen baselines."""

    acting_verb = Verb.CALIBRATION_RECORD

    @extend_schema(responses=BaselineOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List them, newest first; the newest of its content and value counts."""
        rows = ChartBaseline.objects.filter(station=self.station(pk))
        return listed(self, rows.select_related("by"), BaselineOut)

    @extend_schema(request=BaselineIn, responses={201: BaselineOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Freeze one from the newest shots, with the reason for it."""
        station, body = self.station(pk), valid(BaselineIn, request)
        made = freeze_baseline(
            by=person(request),
            station=station,
            content_digest=body["content"],
            code=body["value"],
            reason=body["reason"],
            newest=body["newest"],
        )
        made.refresh_from_db(fields=["at"])
        return Response(BaselineOut(made).data, status=201)


class Capability(StationView):
    """Capability."""

    query = ShotsQuery

    @extend_schema(responses=CapableOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read Cp and Cpk against the recipe's tolerance, with their intervals."""
        station, query = self.station(pk), asked(ShotsQuery, request)
        about = _about(station, query)
        code = query["value"]
        lineage = _lineage(station, about)
        frozen = frozen_baseline(station, about["content"], code, lineage)
        shots = since(frozen, shots_of(station, about["content"], code, lineage))
        found, (lower, upper) = capability_of(shots, code), limits_of(shots, code)
        shown = about | {"lower": lower, "upper": upper, "capability": found and capable(found)}
        return Response(CapableOut(shown).data)


class Equivalence(StationView):
    """Two stations."""

    query = EquivalenceQuery

    @extend_schema(responses=BesideOut)
    def get(self, request: Request, pk: int) -> Response:
        """Ask whether this station pours the same as another, within a margin."""
        station, query = self.station(pk), asked(EquivalenceQuery, request)
        about, code = _about(station, query), query["value"]
        others = Station.objects.covered_by(person(request)).exclude(pk=pk)
        beside = named(others, "beside", query["beside"], pk=query["beside"])
        lineage = _lineage(station, about)
        here, there = (
            shots_of(each, about["content"], code, lineage) for each in (station, beside)
        )
        same = sameness(here, there, code, query["margin"])
        shown = about | {
            "beside": beside.pk, "shots": len(here), "shots_beside": len(there),
            "margin": query["margin"], "equivalence": same and compared(same),
        }  # fmt: skip
        return Response(BesideOut(shown).data)


def _lineage(station: Station, about: dict[str, Any]) -> Lineage:
    brewed = [each["content"] for each in about["contents"]]
    return lineage_at(station, about["content"], about["value"], brewed)


def _about(station: Station, query: dict[str, Any]) -> dict[str, Any]:
    """Which shots are spoken of. Raises Invalid for a content that was never brewed there."""
    contents = contents_of(station)
    content = query.get("content", next(iter(contents), ""))
    if content and content not in contents:
        raise Invalid("content", content, "the digest of what was brewed there")
    brewed = [{"content": digest, "title": title} for digest, title in contents.items()]
    return {
        "station": station.pk, "content": content, "value": query["value"],
        "unit": BOUNDS[query["value"]].unit, "contents": brewed,
    }  # fmt: skip
