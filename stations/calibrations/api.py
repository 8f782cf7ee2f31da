"""Endpoints: a station's calibrations, as they are recorded."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.verbs import Verb
from stations.calibrations.actions import record_calibration, record_figure
from stations.calibrations.models import Calibration
from stations.calibrations.outcome import MOST_RUNS, REASON
from stations.calibrations.questions import LONGEST
from stations.equipment.models import Station
from web.api import Listing, listed, person, valid
from web.fields import PlainDecimal
from web.idempotency import acting
from web.lookup import one_or_404


class AnswerOut(serializers.Serializer[dict[str, Any]]):
    """What was asked about runs (by number; none: the result), and what was answered."""

    code = serializers.CharField()
    runs = serializers.ListField(child=serializers.IntegerField())
    values = serializers.ListField(child=serializers.CharField())
    reason = serializers.CharField()


class CalibrationOut(serializers.ModelSerializer[Calibration]):
    """Runs and what follows from them; value in pulses/mL, or °C measured minus set."""

    recorded_by = serializers.CharField(source="recorded_by.name")
    value = PlainDecimal()
    uncertainty = PlainDecimal(allow_null=True)
    repeatability = PlainDecimal(allow_null=True)
    runs = serializers.ListField(child=serializers.DictField(child=serializers.CharField()))
    answers = AnswerOut(many=True)

    class Meta:
        """What is shown."""

        model = Calibration
        fields = ["id", "station", "kind", "state", "runs", "typed_because", "answers", "value",
                  "uncertainty", "repeatability", "dof", "due_on", "recorded_by", "recorded_at",
                  "decided_at", "reason", "plan_digest", "revision"]  # fmt: skip


class CalibrationIn(serializers.Serializer[dict[str, Any]]):
    """Runs with numbers as text: pulses, grams, temperature; or displayed, measured.

    Or, where nothing was run, the figure as `value` (pulses/mL, or °C measured minus set) with a
    `reason`; its uncertainty is not known then.

    A run with a reason under `left_out` is kept and does not count.

    Odd runs are refused with a question each, as a problem whose field is `answers` and a key:
    correct the runs, or send them again with `answers`, a sentence under each of the keys.
    """

    kind = serializers.ChoiceField(choices=Calibration.Kind.choices)
    runs = serializers.ListField(
        child=serializers.DictField(child=serializers.CharField(max_length=REASON)),
        max_length=MOST_RUNS, required=False, default=list,
    )  # fmt: skip
    value = PlainDecimal(required=False, allow_null=True, default=None)
    reason = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")
    due_on = serializers.DateField()
    answers = serializers.DictField(
        child=serializers.CharField(max_length=LONGEST), required=False, default=dict
    )


class Calibrations(Listing):
    """A station's calibrations."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.CALIBRATION_RECORD

    @extend_schema(responses=CalibrationOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List them, newest first."""
        rows = Calibration.objects.filter(station=_station(request, pk))
        return listed(self, rows.select_related("recorded_by"), CalibrationOut)

    @extend_schema(request=CalibrationIn, responses={201: CalibrationOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Record runs or a figure; nothing at the station changes until somebody accepts them."""
        station, body = _station(request, pk), valid(CalibrationIn, request)
        value, reason, runs = body.pop("value"), body.pop("reason"), body.pop("runs")
        if value is not None and runs:
            raise Invalid("value", value, "nothing beside runs: they say what it is")
        who = person(request)
        if value is None:
            made = record_calibration(by=who, station=station, runs=runs, **body)
        else:
            made = record_figure(by=who, station=station, value=value, reason=reason, **body)
        made.refresh_from_db()
        return Response(CalibrationOut(made).data, status=201)


def _station(request: Request, pk: int) -> Station:
    stations = Station.objects.covered_by(person(request))
    station: Station = one_or_404(stations.select_related("machine__site"), pk=pk)
    return station
