"""Endpoints: a site's water."""

from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.water.actions import record_water
from stations.water.models import WaterReading
from stations.water.reading import BOILER, hints
from web.api import Listing, listed, person, valid
from web.fields import PlainDecimal
from web.idempotency import acting
from web.lookup import one_or_404


def _figure(unit: str = "") -> PlainDecimal:
    """A value that may be left out."""
    return PlainDecimal(required=False, allow_null=True, help_text=unit)


class IndexOut(serializers.Serializer[Any]):
    """A Langelier index at 120 °C; a hint only.

    `low` and `high` are its span where dissolved solids were estimated from conductivity.
    """

    method = serializers.CharField()
    value = serializers.CharField()
    low = serializers.CharField()
    high = serializers.CharField()
    hint = serializers.CharField()
    extrapolated = serializers.BooleanField()


class SolidsOut(serializers.Serializer[Any]):
    """Dissolved solids [mg/L] that the index was worked out with, and their span."""

    value = PlainDecimal()
    low = PlainDecimal()
    high = PlainDecimal()
    estimated = serializers.BooleanField(
        help_text="From conductivity: times 0.64, from 0.55 to 0.75."
    )


class HintsOut(serializers.Serializer[Any]):
    """What a reading hints at, and by name what it lacks for that."""

    langelier_needs = serializers.ListField(child=serializers.CharField(), source="needs")
    solids = SolidsOut(allow_null=True)
    chloride_to_alkalinity = PlainDecimal(
        source="chloride", allow_null=True,
        help_text="In equivalents: what the Larson-Skold index is at least, sulfate not known.",
    )  # fmt: skip
    chloride_needs = serializers.ListField(child=serializers.CharField())


class WaterOut(serializers.ModelSerializer[WaterReading]):
    """A reading as entered, and converted to mg/L CaCO3 and °C; null where it was not read."""

    ph = PlainDecimal()
    hardness = PlainDecimal()
    hardness_converted = PlainDecimal()
    alkalinity = PlainDecimal()
    alkalinity_converted = PlainDecimal()
    dissolved_solids = PlainDecimal()
    conductivity = PlainDecimal(help_text="µS/cm at 25 °C")
    chloride = PlainDecimal(help_text="mg/L")
    temperature = PlainDecimal()
    temperature_converted = PlainDecimal()
    langelier = serializers.SerializerMethodField()
    hints = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = WaterReading
        fields = [
            "id", "taken_on", "ph", "hardness", "hardness_unit", "hardness_converted",
            "alkalinity", "alkalinity_unit", "alkalinity_converted", "dissolved_solids",
            "conductivity", "chloride",
            "temperature", "temperature_unit", "temperature_converted", "note", "langelier",
            "hints",
        ]  # fmt: skip

    @extend_schema_field(IndexOut(many=True))
    def get_langelier(self, reading: WaterReading) -> list[dict[str, Any]]:
        """By each method, at a boiler's temperature; empty where `hints` says what it needs."""
        return [dict(IndexOut(each).data) for each in hints(reading, BOILER).indices]

    @extend_schema_field(HintsOut)
    def get_hints(self, reading: WaterReading) -> dict[str, Any]:
        """At a boiler's temperature."""
        return dict(HintsOut(hints(reading, BOILER)).data)


class WaterIn(serializers.Serializer[dict[str, Any]]):
    """A reading: at least one figure; units as on the page, for each value that has them."""

    taken_on = serializers.DateField()
    ph = _figure()
    hardness_value = _figure()
    hardness_unit = serializers.CharField(max_length=12, required=False)
    alkalinity_value = _figure()
    alkalinity_unit = serializers.CharField(max_length=12, required=False)
    dissolved_solids = _figure("mg/L")
    conductivity = _figure("µS/cm at 25 °C")
    chloride = _figure("mg/L")
    temperature = _figure()
    temperature_unit = serializers.CharField(max_length=4, required=False)
    note = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")


class Water(Listing):
    """A site's water."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.CALIBRATION_RECORD

    @extend_schema(responses=WaterOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        """List readings, newest first."""
        return listed(self, WaterReading.objects.filter(site=_site(request, code)), WaterOut)

    @extend_schema(request=WaterIn, responses={201: WaterOut})
    @acting
    def post(self, request: Request, code: str) -> Response:
        """Note a reading."""
        site, body = _site(request, code), valid(WaterIn, request)
        made = record_water(by=person(request), site=site, **body)
        return Response(WaterOut(made).data, status=201)


def _site(request: Request, code: str) -> Site:
    return one_or_404(Site.objects.covered_by(person(request)), code=code)
