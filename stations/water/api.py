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
from stations.water.reading import BOILER, indices
from web.api import Listing, listed, person, valid
from web.fields import PlainDecimal
from web.idempotency import acting
from web.lookup import one_or_404


class IndexOut(serializers.Serializer[Any]):
    """A Langelier index at 120 °C; a hint only."""

    method = serializers.CharField()
    value = serializers.CharField()
    hint = serializers.CharField()
    extrapolated = serializers.BooleanField()


class WaterOut(serializers.ModelSerializer[WaterReading]):
    """A reading as entered, and converted to mg/L CaCO3 and °C."""

    ph = PlainDecimal()
    hardness = PlainDecimal()
    hardness_converted = PlainDecimal()
    alkalinity = PlainDecimal()
    alkalinity_converted = PlainDecimal()
    dissolved_solids = PlainDecimal()
    temperature = PlainDecimal()
    temperature_converted = PlainDecimal()
    langelier = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = WaterReading
        fields = [
            "id", "taken_on", "ph", "hardness", "hardness_unit", "hardness_converted",
            "alkalinity", "alkalinity_unit", "alkalinity_converted", "dissolved_solids",
            "temperature", "temperature_unit", "temperature_converted", "note", "langelier",
        ]  # fmt: skip

    @extend_schema_field(IndexOut(many=True))
    def get_langelier(self, reading: WaterReading) -> list[dict[str, Any]]:
        """By each method, at a boiler's temperature."""
        return [dict(IndexOut(each).data) for each in indices(reading, BOILER)]


class WaterIn(serializers.Serializer[dict[str, Any]]):
    """A reading; units as on the page."""

    taken_on = serializers.DateField()
    ph = PlainDecimal()
    hardness_value = PlainDecimal()
    hardness_unit = serializers.CharField(max_length=12)
    alkalinity_value = PlainDecimal()
    alkalinity_unit = serializers.CharField(max_length=12)
    dissolved_solids = PlainDecimal()
    temperature = PlainDecimal()
    temperature_unit = serializers.CharField(max_length=4)
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
