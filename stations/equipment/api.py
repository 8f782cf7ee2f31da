"""Endpoints: sites, machines, stations and the number of their slots."""

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.equipment.actions import (
    add_machine,
    add_site,
    add_slots,
    add_station,
    change_machine,
    change_site,
)
from stations.equipment.models import Machine, Site, Station
from stations.equipment.serializers import (
    MachineChange,
    MachineIn,
    MachineOut,
    SiteChange,
    SiteIn,
    SiteOut,
    SlotTotalIn,
    StationIn,
    StationOut,
)
from stations.machine_types.models import MachineType
from web.api import GuardedView, Listing, Rows, listed, narrowed, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting
from web.lookup import named, one_or_404


class Sites(Listing):
    """The bars one's roles cover."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.SITE_EDIT
    acting_everywhere = True

    @extend_schema(responses=SiteOut(many=True))
    def get(self, request: Request) -> Response:
        """List sites, newest first."""
        return listed(self, Site.objects.covered_by(person(request)), SiteOut)

    @extend_schema(request=SiteIn, responses={201: SiteOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a site."""
        made = add_site(by=person(request), **valid(SiteIn, request))
        return tagged(request, made, SiteOut(made).data, 201)


class OneSite(GuardedView):
    """One bar, by its code."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.SITE_EDIT

    @extend_schema(responses=SiteOut)
    def get(self, request: Request, code: str) -> Response:
        """Read a site."""
        site = one_or_404(Site.objects.covered_by(person(request)), code=code)
        return tagged(request, site, SiteOut(site).data)

    @extend_schema(request=SiteChange, responses=SiteOut)
    @matching
    def put(self, request: Request, code: str) -> Response:
        """Change a site's name, time zone and altitude."""
        site = one_or_404(Site.objects.covered_by(person(request)), code=code)
        body = valid(SiteChange, request)
        seen = expected_revision(request, site)
        change_site(by=person(request), site=site, revision=seen, **body)
        return tagged(request, site, SiteOut(site).data)


BY = [
    OpenApiParameter("site", str, description="code of a site"),
    OpenApiParameter("machine", int, description="id of a machine"),
]


class Machines(Listing):
    """The machines of the sites one's roles cover."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT
    query = BY[:1]

    @extend_schema(responses=MachineOut(many=True))
    def get(self, request: Request) -> Response:
        """List machines, newest first."""
        rows = narrowed(_machines(request), request, site="site__code")
        return listed(self, rows, MachineOut)

    @extend_schema(request=MachineIn, responses={201: MachineOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a machine."""
        body = valid(MachineIn, request)
        sites = Site.objects.covered_by(person(request))
        made = add_machine(
            by=person(request),
            site=named(sites, "site", body["site"], code=body["site"]),
            name=body["name"],
            machine_type=_machine_type(body["machine_type"]),
        )
        return tagged(request, made, MachineOut(made).data, 201)


class OneMachine(GuardedView):
    """One machine."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(responses=MachineOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a machine."""
        shown = one_or_404(_machines(request), pk=pk)
        return tagged(request, shown, MachineOut(shown).data)

    @extend_schema(request=MachineChange, responses=MachineOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change a machine's name and type."""
        shown: Machine = one_or_404(_machines(request), pk=pk)
        body = valid(MachineChange, request)
        change_machine(
            by=person(request),
            machine=shown,
            revision=expected_revision(request, shown),
            name=body["name"],
            machine_type=_machine_type(body["machine_type"]),
        )
        return tagged(request, shown, MachineOut(shown).data)


def _machines(request: Request) -> Rows:
    return Machine.objects.covered_by(person(request)).select_related("site")


def _machine_type(pk: int) -> MachineType:
    return named(MachineType.objects.all(), "machine_type", pk, pk=pk)


class Stations(Listing):
    """The stations of the sites one's roles cover."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT
    query = BY

    @extend_schema(responses=StationOut(many=True))
    def get(self, request: Request) -> Response:
        """List stations, newest first."""
        by = {"site": "machine__site__code", "machine": "machine"}
        return listed(self, narrowed(_stations(request), request, **by), StationOut)

    @extend_schema(request=StationIn, responses={201: StationOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a station with its slots."""
        body = valid(StationIn, request)
        machines = Machine.objects.covered_by(person(request))
        body["machine"] = named(machines, "machine", body["machine"], pk=body["machine"])
        made = add_station(by=person(request), **body)
        return _answer(request, made.pk, 201)


class OneStation(GuardedView):
    """One station."""

    verb = Verb.EQUIPMENT_VIEW

    @extend_schema(responses=StationOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a station."""
        return _answer(request, pk)


class StationSlots(Listing):
    """How many slots a station has."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(request=SlotTotalIn, responses=StationOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Add slots up to a total."""
        shown: Station = one_or_404(_stations(request), pk=pk)
        add_slots(by=person(request), station=shown, **valid(SlotTotalIn, request))
        return _answer(request, pk)


def _stations(request: Request) -> Rows:
    rows = Station.objects.covered_by(person(request))
    return rows.select_related("machine__site").with_slot_count()


def _answer(request: Request, pk: int, status: int = 200) -> Response:
    shown: Station = one_or_404(_stations(request), pk=pk)
    return tagged(request, shown, StationOut(shown).data, status)
