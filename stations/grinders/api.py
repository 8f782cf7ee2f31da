"""Endpoints: grinders, their log, and what is written into it."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.equipment.models import Site, Station
from stations.grinders.actions import (
    MARKS,
    MICROMETRES,
    REASON,
    SERIAL,
    SETTING,
    STEP,
    add_grinder,
    change_grinder,
    set_grinder,
    work_on_grinder,
)
from stations.grinders.models import BREAKS, Finer, Grinder, GrinderEvent
from web.api import GuardedView, Listing, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.fields import ID, PlainDecimal
from web.idempotency import acting
from web.lookup import named, one_or_404


class EventOut(serializers.ModelSerializer[GrinderEvent]):
    """A line of a grinder's log; `setting` is the mark afterwards."""

    by = serializers.CharField(source="by.name")
    setting = PlainDecimal()

    class Meta:
        """What is shown."""

        model = GrinderEvent
        fields = ["id", "kind", "setting", "serial_number", "reason", "by", "at"]


class GrinderOut(serializers.ModelSerializer[Grinder]):
    """A grinder; its site by code, the stations it serves by id, the least move in marks."""

    site = serializers.SlugRelatedField[Site](slug_field="code", read_only=True)
    marks_per_turn = PlainDecimal(allow_null=True)
    step = PlainDecimal()
    micrometres_per_mark = PlainDecimal(allow_null=True)
    stations = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = Grinder
        fields = ["id", "site", "name", "finer", "marks_per_turn", "step", "micrometres_per_mark",
                  "stations", "revision"]  # fmt: skip

    def get_stations(self, grinder: Grinder) -> list[int]:
        """The ids of the stations it serves."""
        return sorted(each.station_id for each in grinder.serves.all())


class GrinderChange(serializers.Serializer[dict[str, Any]]):
    """All of a grinder that can be edited."""

    name = serializers.CharField(max_length=80)
    finer = serializers.ChoiceField(choices=Finer.choices)
    marks_per_turn = PlainDecimal(bounds=MARKS, allow_null=True, required=False, default=None)
    step = PlainDecimal(bounds=STEP)
    micrometres_per_mark = PlainDecimal(
        bounds=MICROMETRES, allow_null=True, required=False, default=None
    )
    stations = serializers.ListField(child=serializers.IntegerField(**ID), max_length=200)


class GrinderIn(GrinderChange):
    """A grinder to enter, with the mark it stands at."""

    setting = PlainDecimal(bounds=SETTING)


class SettingIn(serializers.Serializer[dict[str, Any]]):
    """The mark it is set to, why, and the newest line of the log that was read."""

    setting = PlainDecimal(bounds=SETTING)
    reason = serializers.CharField(max_length=REASON)
    seen_event = serializers.IntegerField(**ID)


class WorkIn(SettingIn):
    """Burrs or the whole grinder changed."""

    kind = serializers.ChoiceField(choices=[(each.value, each.label) for each in BREAKS])
    serial_number = serializers.CharField(
        max_length=SERIAL, required=False, allow_blank=True, default=""
    )


class Grinders(Listing):
    """A site's grinders."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(responses=GrinderOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        """List grinders, newest first."""
        rows = _grinders(request).filter(site=_site(request, code))
        return listed(self, rows, GrinderOut)

    @extend_schema(request=GrinderIn, responses={201: GrinderOut})
    @acting
    def post(self, request: Request, code: str) -> Response:
        """Enter a grinder."""
        site, body = _site(request, code), valid(GrinderIn, request)
        body["stations"] = _stations(request, body["stations"])
        made = add_grinder(by=person(request), site=site, **body)
        return _answer(request, made.pk, 201)


class OneGrinder(GuardedView):
    """One grinder."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(responses=GrinderOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a grinder."""
        return _answer(request, pk)

    @extend_schema(request=GrinderChange, responses=GrinderOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change what is known of a grinder."""
        grinder, body = one_or_404(_grinders(request), pk=pk), valid(GrinderChange, request)
        body["stations"] = _stations(request, body["stations"])
        seen = expected_revision(request, grinder)
        change_grinder(by=person(request), grinder=grinder, revision=seen, **body)
        return _answer(request, pk)


class GrinderSettings(Listing):
    """How a grinder was set."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.GRINDER_SET

    @extend_schema(responses=EventOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """Its log, newest first: settings, and changes of burrs."""
        grinder = one_or_404(_grinders(request), pk=pk)
        return listed(self, grinder.events.select_related("by"), EventOut)

    @extend_schema(request=SettingIn, responses={201: EventOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Write down the mark it is set to; 412 if the log went on meanwhile."""
        grinder, body = one_or_404(_grinders(request), pk=pk), valid(SettingIn, request)
        made = set_grinder(by=person(request), grinder=grinder, **body)
        return Response(EventOut(made).data, status=201)


class GrinderWorks(GuardedView):
    """What was changed about a grinder."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.CALIBRATION_RECORD

    @extend_schema(request=WorkIn, responses={201: EventOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Write down a change of burrs or of the whole grinder; 412 if the log went on."""
        grinder, body = one_or_404(_grinders(request), pk=pk), valid(WorkIn, request)
        made = work_on_grinder(by=person(request), grinder=grinder, **body)
        return Response(EventOut(made).data, status=201)


def _site(request: Request, code: str) -> Site:
    return one_or_404(Site.objects.covered_by(person(request)), code=code)


def _grinders(request: Request) -> Any:  # noqa: ANN401 - a queryset of grinders
    rows = Grinder.objects.covered_by(person(request))
    return rows.select_related("site").prefetch_related("serves")


def _stations(request: Request, ids: list[int]) -> list[Station]:
    rows = Station.objects.covered_by(person(request)).select_related("machine")
    return [named(rows, "stations", pk, pk=pk) for pk in sorted(set(ids))]


def _answer(request: Request, pk: int, status: int = 200) -> Response:
    shown: Grinder = one_or_404(_grinders(request), pk=pk)
    return tagged(request, shown, GrinderOut(shown).data, status)
