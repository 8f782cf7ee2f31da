"""Endpoints: slots, what they should hold and were found to hold."""

import hashlib
from collections.abc import Sequence
from typing import Any

from django.utils.http import parse_etags
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from audit.errors import Invalid
from people.persons.verbs import Verb
from people.tokens.authentication import ScopePermission
from people.tokens.models import ApiToken, Scope
from stations.equipment.models import Site, Slot
from stations.slots.bases import say_waiting
from stations.slots.by_hand import set_by_hand
from stations.slots.holdings import Holding, hold, holdings
from stations.slots.models import Placement, ReadBack
from stations.slots.read_backs import Reading, read_back, reading_verb, report_read_backs
from stations.slots.serializers import (
    ByHandIn,
    GatewaySettings,
    PlacementOut,
    ReadBackIn,
    ReadBackOut,
    ReportIn,
    ReportOut,
    SlotOut,
)
from stations.slots.signed import withhold
from stations.slots.unverified import say_unverified
from web.api import GuardedView, Listing, Rows, listed, narrowed, person, valid
from web.idempotency import acting
from web.lookup import one_or_404
from web.paging import KeysetPagination

BY = {
    "site": "station__machine__site__code",
    "machine": "station__machine",
    "station": "station",
}
CONDITIONS = ("empty", "by_hand", "to_load", "matches", "differs", "on_permit")


class Slots(Listing):
    """The slots of the sites one's roles cover, with what each should hold."""

    verb = Verb.SLOT_VIEW
    query = (
        OpenApiParameter("site", str, description="code of a site"),
        OpenApiParameter("machine", int, description="id of a machine"),
        OpenApiParameter("station", int, description="id of a station"),
        OpenApiParameter("condition", str, enum=CONDITIONS, description="what it is in"),
    )

    @extend_schema(responses=SlotOut(many=True))
    def get(self, request: Request) -> Response:
        """List slots, newest first."""
        rows = Slot.objects.covered_by(person(request)).with_condition()
        rows = narrowed(rows.select_related("station__machine__site"), request, **BY)
        pages = KeysetPagination()
        page: list[Any] = pages.paginate_queryset(_in_condition(rows, request), request, self) or []
        return pages.answered(SlotOut, say_unverified(hold(page)))


def _in_condition(rows: Rows, request: Request) -> Rows:
    """Slots in the condition that the address asks for. Raises Invalid for an unknown one."""
    condition = request.query_params.get("condition")
    if condition is None:
        return rows
    if condition not in CONDITIONS:
        raise Invalid("condition", condition, f"one of {', '.join(CONDITIONS)}")
    return rows.filter(condition=condition)


class OneSlot(GuardedView):
    """One slot."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=SlotOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a slot and what is in force for it."""
        _slot(request, pk)
        return Response(_shown(pk))


class Placements(Listing):
    """Everything a slot should hold, was to hold, or held."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=PlacementOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List a slot's placements, newest first."""
        rows = Placement.objects.filter(slot=_slot(request, pk))
        pages = KeysetPagination()
        whole = rows.select_related("settings", "signature", "slot")
        page: list[Placement] = pages.paginate_queryset(whole, request, self) or []
        withhold(page)
        say_waiting(page)
        return pages.answered(PlacementOut, page)


class OrGateway(ScopePermission):
    """As everywhere, and a gateway's token may report."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Whether the token's scopes allow it."""
        reports = isinstance(request.auth, ApiToken) and Scope.GATEWAY in request.auth.scopes
        return (reports and request.method == "POST") or super().has_permission(request, view)


class ReadBacks(Listing):
    """What a slot was found to hold."""

    verb = Verb.SLOT_VIEW
    permission_classes = [IsAuthenticated, OrGateway]

    def check_permissions(self, request: Request) -> None:
        """A gateway reports under a verb of its own. Raises NotPermitted."""
        self.acting_verb = reading_verb()
        super().check_permissions(request)

    @extend_schema(responses=ReadBackOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List a slot's read-backs, newest first."""
        rows = ReadBack.objects.filter(slot=_slot(request, pk))
        return listed(self, rows.select_related("by", "gateway"), ReadBackOut)

    @extend_schema(request=ReadBackIn, responses={201: ReadBackOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Write down what the slot holds, and get the verdict on every setting."""
        slot, body = _slot(request, pk), valid(ReadBackIn, request)
        written = read_back(
            by=person(request), slot=slot, seen_placement=body["placement"], found=body["found"]
        )
        written.refresh_from_db(fields=["at"])
        return Response(ReadBackOut(written).data, status=201)


class ByHand(GuardedView):
    """Setting an unlocked slot."""

    verb = Verb.SLOT_VIEW
    acting_verb = Verb.SLOT_SET_BY_HAND

    @extend_schema(request=ByHandIn, responses={201: SlotOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Say what the slot holds now; 409 where it is locked, with who may change it."""
        slot = _slot(request, pk)
        set_by_hand(slot=slot, values=valid(ByHandIn, request)["values"], by=person(request))
        return Response(_shown(pk), status=201)


def _slot(request: Request, pk: int) -> Slot:
    slots = Slot.objects.covered_by(person(request))
    slot: Slot = one_or_404(slots.select_related("station__machine__site"), pk=pk)
    return slot


# Endpoints for gateways: what every slot of a site should hold, and what was found there.


class SiteSettings(GuardedView):
    """What every slot of a site should hold."""

    verb = Verb.GATEWAY_FETCH
    scope = Scope.GATEWAY

    @extend_schema(responses={200: GatewaySettings, 304: None})
    def get(self, request: Request, code: str) -> Response:
        """Fetch it; with If-None-Match 304 as long as nothing has changed."""
        site = one_or_404(Site.objects.covered_by(person(request), self.verb), code=code)
        held = holdings(Slot.objects.filter(station__machine__site=site))
        tag = _tag(held)
        headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
        if tag in parse_etags(request.headers.get("If-None-Match", "")):
            return Response(status=304, headers=headers)
        shown = GatewaySettings({"site": site.code, "slots": held})
        return Response(shown.data, headers=headers)


class SiteReadBacks(GuardedView):
    """What a gateway found in the slots of its site."""

    verb = Verb.GATEWAY_REPORT
    scope = Scope.GATEWAY

    @extend_schema(request=ReportIn, responses={200: ReportOut})
    @acting
    def post(self, request: Request, code: str) -> Response:
        """Report many read-backs; each is answered by its own, in the order they were sent."""
        site = one_or_404(Site.objects.covered_by(person(request), self.verb), code=code)
        sent = valid(ReportIn, request)["read_backs"]
        reported = report_read_backs(
            by=person(request), site=site, readings=[Reading(**reading) for reading in sent]
        )
        return Response(ReportOut({"read_backs": reported}).data)


def _tag(held: Sequence[Holding]) -> str:
    """A tag that changes whenever a slot of the site should hold something else.

    A placement's settings never change, so the ids of what is in force say it all, with what is
    wrong with those that were changed nevertheless.
    """
    text = ";".join(
        f"{each.slot.pk}:{each.placement.pk if each.placement else ''}:{each.problem}"
        for each in held
    )
    return f'"{hashlib.sha256(text.encode()).hexdigest()[:32]}"'


def _shown(slot: int) -> Any:  # noqa: ANN401
    """One slot (id), as it is answered."""
    return SlotOut(say_unverified(holdings(Slot.objects.filter(pk=slot)))[0]).data
