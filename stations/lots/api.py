"""Endpoints: lots that are open on the bar, opening one, finishing one."""

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.verbs import Verb
from stations.equipment.models import Site, Station
from stations.grinders.models import Grinder
from stations.lots.actions import LABEL, REASON, close_lot, open_lot
from stations.lots.models import LotOpening
from web.api import GuardedView, Listing, listed, narrowed, person, valid
from web.fields import ID
from web.idempotency import acting
from web.lookup import named, one_or_404


class OpeningOut(serializers.ModelSerializer[LotOpening]):
    """A bag opened at a grinder or a station, and when it was finished; days off roast then."""

    opened_by = serializers.CharField(source="opened_by.name")
    closed_by = serializers.CharField(source="closed_by.name", allow_null=True, default=None)
    lot = serializers.IntegerField(source="lot_id")
    days_off_roast = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = LotOpening
        fields = ["id", "grinder", "station", "lot", "coffee", "code", "roasted_on", "rest_from",
                  "rest_to", "state", "reason", "days_off_roast", "opened_at", "opened_by",
                  "closed_at", "closed_by"]  # fmt: skip

    @extend_schema_field(serializers.IntegerField())
    def get_days_off_roast(self, opening: LotOpening) -> int:
        """On the day it was opened, by the site's calendar."""
        return opening.aged(opening.opened_at).days


class OpeningIn(serializers.Serializer[dict[str, Any]]):
    """A lot by its code, where it is opened, and what was seen open there (null: nothing).

    Name a grinder, or a station that has none of its own. A lot that is not in its window needs
    `confirmed` and a `reason`.
    """

    grinder = serializers.IntegerField(allow_null=True, required=False, default=None, **ID)
    station = serializers.IntegerField(allow_null=True, required=False, default=None, **ID)
    code = serializers.CharField(max_length=LABEL, help_text="Its code, or coffee and code.")
    coffee = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")
    seen_opening = serializers.IntegerField(allow_null=True, **ID)
    confirmed = serializers.BooleanField(default=False)
    reason = serializers.CharField(max_length=REASON, required=False, allow_blank=True, default="")


class Openings(Listing):
    """The lots of a site's bar."""

    verb = Verb.SLOT_VIEW
    acting_verb = Verb.LOT_OPEN
    query = (OpenApiParameter("grinder", int, description="id of a grinder"),)

    @extend_schema(responses=OpeningOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        """List what was opened, newest first."""
        rows = LotOpening.objects.filter(site=_site(request, code)).with_place()
        return listed(self, narrowed(rows, request, grinder="grinder"), OpeningOut)

    @extend_schema(request=OpeningIn, responses={201: OpeningOut})
    @acting
    def post(self, request: Request, code: str) -> Response:
        """Open a bag; 412 if something else is open there than was seen."""
        site, body = _site(request, code), valid(OpeningIn, request)
        at = _at(site, body.pop("grinder"), body.pop("station"))
        made = open_lot(by=person(request), at=at, **body)
        shown = LotOpening.objects.with_place().get(pk=made.pk)
        return Response(OpeningOut(shown).data, status=201)


class ClosedOpening(GuardedView):
    """Finishing a bag."""

    verb = Verb.SLOT_VIEW
    acting_verb = Verb.LOT_OPEN

    @extend_schema(request=None, responses=OpeningOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Say that it is finished."""
        rows = LotOpening.objects.covered_by(person(request)).with_place()
        opening: LotOpening = one_or_404(rows, pk=pk)
        closed = close_lot(by=person(request), opening=opening, seen_open=True)
        return Response(OpeningOut(closed).data)


def _site(request: Request, code: str) -> Site:
    return one_or_404(Site.objects.covered_by(person(request)), code=code)


def _at(site: Site, grinder: int | None, station: int | None) -> Grinder | Station:
    if (grinder is None) == (station is None):
        raise Invalid("grinder", grinder, "either a grinder or a station, by its id")
    if grinder is not None:
        rows = Grinder.objects.filter(site=site).select_related("site")
        return named(rows, "grinder", grinder, pk=grinder)
    here = Station.objects.filter(machine__site=site).select_related("machine__site")
    found: Station = named(here, "station", station, pk=station)
    return found
