"""Endpoints: bars, and all of them at a glance."""

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.board.pages import board_counts, board_rows
from stations.equipment.actions import (
    add_machine,
    add_site,
    add_slots,
    add_station,
    change_machine,
    change_site,
    change_station,
)
from stations.equipment.listing import Listing, Rows, found, named, narrowed
from stations.equipment.models import AbilitySet, Machine, Site, Station
from stations.equipment.serializers import (
    AbilitySetIn,
    AbilitySetOut,
    ImportIn,
    ImportOut,
    MachineChange,
    MachineIn,
    MachineOut,
    SiteChange,
    SiteIn,
    SiteOut,
    SlotTotalIn,
    StationChange,
    StationIn,
    StationOut,
)
from stations.importing.actions import import_equipment, report_of
from stations.importing.file import invalid
from stations.importing.plan import plan_import
from stations.machine_types.actions import add_ability_set, change_ability_set
from stations.slots.serializers import BoardRow
from web.api import GuardedView, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting


class Sites(Listing):
    """The bars one's roles cover."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT
    acting_everywhere = True

    @extend_schema(responses=SiteOut(many=True))
    def get(self, request: Request) -> Response:
        """List sites, newest first."""
        return self.listed(Site.objects.covered_by(person(request)), SiteOut)

    @extend_schema(request=SiteIn, responses={201: SiteOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a site."""
        made = add_site(**valid(SiteIn, request), by=person(request))
        return tagged(request, made, SiteOut(made).data, 201)


class OneSite(Listing):
    """One bar, by its code."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(responses=SiteOut)
    def get(self, request: Request, code: str) -> Response:
        """Read a site."""
        site = found(Site.objects.covered_by(person(request)), code=code)
        return tagged(request, site, SiteOut(site).data)

    @extend_schema(request=SiteChange, responses=SiteOut)
    @matching
    def put(self, request: Request, code: str) -> Response:
        """Change a site's name, time zone and altitude."""
        site = found(Site.objects.covered_by(person(request)), code=code)
        body = valid(SiteChange, request)
        seen = expected_revision(request, site)
        change_site(site=site, seen_revision=seen, **body, by=person(request))
        return tagged(request, site, SiteOut(site).data)


class Board(Listing):
    """All sites at a glance."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=BoardRow(many=True))
    def get(self, request: Request) -> Response:
        """Per site, how many slots match, differ, wait to be loaded, are on permit or by hand."""
        return self.listed_board(board_counts(person(request)))

    def listed_board(self, counts: dict[int, dict[str, int]]) -> Response:
        """One page of it."""
        pages = self.pagination_class()
        sites = Site.objects.covered_by(person(self.request), Verb.SLOT_VIEW)
        shown = pages.paginate_queryset(sites, self.request, self) or []
        rows: list[dict[str, Any]] = [
            {**row, "site": row["site"].code, "name": row["site"].name}
            for row in board_rows(shown, counts)
        ]
        return pages.get_paginated_response(BoardRow(rows, many=True).data)


# Endpoints: machines, and what they can set.


class AbilitySets(Listing):
    """What machines of each construction can set."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT
    acting_everywhere = True

    @extend_schema(responses=AbilitySetOut(many=True))
    def get(self, request: Request) -> Response:
        """List sets, newest first."""
        return self.listed(AbilitySet.objects.prefetch_related("abilities"), AbilitySetOut)

    @extend_schema(request=AbilitySetIn, responses={201: AbilitySetOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a set."""
        made = add_ability_set(**valid(AbilitySetIn, request), by=person(request))
        return tagged(request, made, AbilitySetOut(made).data, 201)


class OneAbilitySet(Listing):
    """One set."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT
    acting_everywhere = True

    @extend_schema(responses=AbilitySetOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a set."""
        shown = found(AbilitySet.objects.all(), pk=pk)
        return tagged(request, shown, AbilitySetOut(shown).data)

    @extend_schema(request=AbilitySetIn, responses=AbilitySetOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Replace a set."""
        shown = found(AbilitySet.objects.all(), pk=pk)
        body = valid(AbilitySetIn, request)
        seen = expected_revision(request, shown)
        change_ability_set(ability_set=shown, seen_revision=seen, **body, by=person(request))
        return tagged(request, shown, AbilitySetOut(shown).data)


class Machines(Listing):
    """The machines of the sites one's roles cover."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(
        parameters=[OpenApiParameter("site", str, description="code of a site")],
        responses=MachineOut(many=True),
    )
    def get(self, request: Request) -> Response:
        """List machines, newest first."""
        rows = narrowed(_machines(request), request, site="site__code")
        return self.listed(rows, MachineOut)

    @extend_schema(request=MachineIn, responses={201: MachineOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a machine."""
        body = valid(MachineIn, request)
        sites = Site.objects.covered_by(person(request))
        made = add_machine(
            site=named(sites, "site", body["site"], code=body["site"]),
            name=body["name"],
            abilities=_abilities(body["abilities"]),
            by=person(request),
        )
        return tagged(request, made, MachineOut(made).data, 201)


class OneMachine(Listing):
    """One machine."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(responses=MachineOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a machine."""
        shown = found(_machines(request), pk=pk)
        return tagged(request, shown, MachineOut(shown).data)

    @extend_schema(request=MachineChange, responses=MachineOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change a machine's name and abilities."""
        shown: Machine = found(_machines(request), pk=pk)
        body = valid(MachineChange, request)
        change_machine(
            machine=shown,
            seen_revision=expected_revision(request, shown),
            name=body["name"],
            abilities=_abilities(body["abilities"]),
            by=person(request),
        )
        return tagged(request, shown, MachineOut(shown).data)


def _machines(request: Request) -> Rows:
    return Machine.objects.covered_by(person(request)).select_related("site")


def _abilities(pk: int) -> AbilitySet:
    return named(AbilitySet.objects.all(), "abilities", pk, pk=pk)


# Endpoints: stations, their slots' number, and equipment from one file.

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
