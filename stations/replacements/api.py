"""Endpoints: what was replaced at a site, and noting one more."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.verbs import Verb
from stations.equipment.models import Machine, Site, Station
from stations.equipment.replaced import Part, Replacement
from stations.equipment.serializers import IdField
from stations.replacements.actions import REASON, SERIAL, Place, replace_part
from web.api import Listing, listed, person, valid
from web.idempotency import acting
from web.lookup import named, one_or_404


class ReplacementOut(serializers.ModelSerializer[Replacement]):
    """One part that was replaced."""

    by = serializers.CharField(source="by.name")

    class Meta:
        """What is shown."""

        model = Replacement
        fields = ["id", "part", "machine", "station", "old_serial", "new_serial", "reason", "at",
                  "by", "noted_at"]  # fmt: skip


class ReplacementIn(serializers.Serializer[dict[str, Any]]):
    """A flow meter or probe with its `station`, a pump with its `machine`, or a filter.

    `seen` is the id of the newest replacement noted for that station, machine or site.
    """

    part = serializers.ChoiceField(choices=Part.choices)
    station = IdField()
    machine = IdField()
    seen = IdField()
    at = serializers.DateTimeField()
    old_serial = serializers.CharField(
        max_length=SERIAL, required=False, allow_blank=True, default=""
    )
    new_serial = serializers.CharField(
        max_length=SERIAL, required=False, allow_blank=True, default=""
    )
    reason = serializers.CharField(max_length=REASON)

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        for name in ("station", "machine", "seen"):
            self.fields[name].required, self.fields[name].allow_null = False, True
            self.fields[name].default = None


class Replacements(Listing):
    """What was replaced at a site."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.CALIBRATION_RECORD

    @extend_schema(responses=ReplacementOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        """List it, newest first."""
        rows = Replacement.objects.filter(site=_site(request, code))
        return listed(self, rows.select_related("by"), ReplacementOut)

    @extend_schema(request=ReplacementIn, responses={201: ReplacementOut})
    @acting
    def post(self, request: Request, code: str) -> Response:
        """Note that a part was replaced; what was known of the old one ends."""
        site, body = _site(request, code), valid(ReplacementIn, request)
        place = _place(site, body.pop("station"), body.pop("machine"))
        made = replace_part(by=person(request), place=place, **body)
        made.refresh_from_db()
        return Response(ReplacementOut(made).data, status=201)


def _site(request: Request, code: str) -> Site:
    site: Site = one_or_404(Site.objects.covered_by(person(request)), code=code)
    return site


def _place(site: Site, station: int | None, machine: int | None) -> Place:
    if station is not None and machine is not None:
        raise Invalid("machine", machine, "nothing beside a station")
    if station is not None:
        stations = Station.objects.filter(machine__site=site).select_related("machine__site")
        return Place(site, station=named(stations, "station", station, pk=station))
    if machine is not None:
        machines = Machine.objects.filter(site=site).select_related("site")
        return Place(site, machine=named(machines, "machine", machine, pk=machine))
    return Place(site)
