"""Endpoints: stations, their slots' number, and equipment from one file."""

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.verbs import Verb
from people.web.api import GuardedView, person, valid
from people.web.etags import expected_revision, matching, tagged
from people.web.idempotency import acting
from stations.actions import add_slots, add_station, change_station, import_equipment
from stations.actions.importing import report_of
from stations.api.asking import Listing, Rows, found, named, narrowed
from stations.api.equipment import (
    ImportIn,
    ImportOut,
    SlotTotalIn,
    StationChange,
    StationIn,
    StationOut,
)
from stations.importing.faults import invalid
from stations.importing.plan import plan_import
from stations.models import Machine, Station

BY = [
    OpenApiParameter("site", str, description="code of a site"),
    OpenApiParameter("machine", int, description="id of a machine"),
]


class Stations(Listing):
    """The stations of the sites one's roles cover."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(parameters=BY, responses=StationOut(many=True))
    def get(self, request: Request) -> Response:
        """List stations, newest first."""
        by = {"site": "machine__site__code", "machine": "machine"}
        return self.listed(narrowed(_stations(request), request, **by), StationOut)

    @extend_schema(request=StationIn, responses={201: StationOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a station with its slots."""
        body = valid(StationIn, request)
        machines = Machine.objects.covered_by(person(request))
        body["machine"] = named(machines, "machine", body["machine"], pk=body["machine"])
        made = add_station(**body, by=person(request))
        return _answer(request, made.pk, 201)


class OneStation(Listing):
    """One station."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(responses=StationOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a station."""
        return _answer(request, pk)

    @extend_schema(request=StationChange, responses=StationOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change a station's traits; slots keep what was signed for them."""
        shown: Station = found(_stations(request), pk=pk)
        body = valid(StationChange, request)
        seen = expected_revision(request, shown)
        change_station(station=shown, seen_revision=seen, **body, by=person(request))
        return _answer(request, pk)


class StationSlots(Listing):
    """How many slots a station has."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(request=SlotTotalIn, responses=StationOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Add slots up to a total."""
        shown: Station = found(_stations(request), pk=pk)
        add_slots(station=shown, **valid(SlotTotalIn, request), by=person(request))
        return _answer(request, pk)


class Import(GuardedView):
    """Equipment from one file."""

    verb = Verb.EQUIPMENT_IMPORT

    @extend_schema(request=ImportIn, responses=ImportOut)
    @acting
    def post(self, request: Request) -> Response:
        """Add all of a CSV file, or with `preview` say what it would add."""
        body = valid(ImportIn, request)
        if not body["preview"]:
            report = import_equipment(text=body["csv"], by=person(request))
            return Response(_shown(asdict(report)))
        plan = plan_import(body["csv"], person(request))
        if plan.faults:
            raise invalid(plan.faults)
        return Response(_shown(asdict(report_of(plan))))


def _shown(counts: dict[str, Any]) -> dict[str, Any]:
    return dict(ImportOut(counts).data)


def _stations(request: Request) -> Rows:
    rows = Station.objects.covered_by(person(request))
    return rows.select_related("machine__site").with_slot_count()


def _answer(request: Request, pk: int, status: int = 200) -> Response:
    shown: Station = found(_stations(request), pk=pk)
    return tagged(request, shown, StationOut(shown).data, status)
