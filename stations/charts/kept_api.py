"""Endpoints: charts that were kept as they stood."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.charts.api import StationView
from stations.charts.charting import CHARTED, RULES
from stations.charts.keeping import keep_chart
from stations.charts.models import KeptChart
from stations.charts.serializers import DIGEST
from web.api import GuardedView, Listing, listed, person, valid
from web.idempotency import acting
from web.lookup import one_or_404


class KeepIn(serializers.Serializer[dict[str, Any]]):
    """Which chart, and the digest of its figures as they were read (`seen` of the charts)."""

    content = serializers.CharField(max_length=DIGEST)
    value = serializers.ChoiceField(choices=CHARTED)
    rules = serializers.ChoiceField(choices=list(RULES), default="nelson")
    seen = serializers.RegexField(r"^[0-9a-f]{64}$")


class KeptChartOut(serializers.ModelSerializer[KeptChart]):
    """A kept chart; `figures` holds its shots (id, time, value, rules met) and limits."""

    content = serializers.CharField(source="content_digest")
    value = serializers.CharField(source="code")
    figures = serializers.DictField()
    by = serializers.CharField(source="by.name")

    class Meta:
        """What is shown."""

        model = KeptChart
        fields = ["id", "station", "content", "value", "title", "figures", "figures_digest",
                  "by", "at"]  # fmt: skip


class KeptCharts(StationView, Listing):
    """Charts of a station that were kept."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(responses=KeptChartOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List them, newest first."""
        rows = KeptChart.objects.filter(station=self.station(pk))
        return listed(self, rows.select_related("by"), KeptChartOut)

    @extend_schema(request=KeepIn, responses={201: KeptChartOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Keep one as it was read: it can be evidence of a change request then."""
        station, body = self.station(pk), valid(KeepIn, request)
        kept = keep_chart(
            by=person(request),
            station=station,
            content_digest=body["content"],
            code=body["value"],
            rules=body["rules"],
            seen=body["seen"],
        )
        return Response(KeptChartOut(kept).data, status=201)


class OneKeptChart(GuardedView):
    """A kept chart."""

    verb = Verb.EQUIPMENT_VIEW

    @extend_schema(responses=KeptChartOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read it."""
        rows = KeptChart.objects.covered_by(person(request)).with_place()
        return Response(KeptChartOut(one_or_404(rows, pk)).data)
