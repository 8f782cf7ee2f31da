"""Endpoint: the units one reads and types in on pages. The API itself stays in °C and g."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.endpoint import Endpoint
from people.persons.models import User
from people.persons.units import Masses, Temperatures
from people.units.actions import choose_units
from web.api import person, valid
from web.etags import expected_revision, matching, tagged


class UnitsOut(serializers.ModelSerializer[User]):
    """One's choice, as UCUM codes; "both" shows the other unit beside."""

    class Meta:
        model = User
        fields = ["temperatures", "masses", "revision"]


class UnitsIn(serializers.Serializer[dict[str, Any]]):
    """What to show from now on."""

    temperatures = serializers.ChoiceField(choices=Temperatures.choices)
    masses = serializers.ChoiceField(choices=Masses.choices)


class OwnUnits(Endpoint):
    """One's own units."""

    @extend_schema(responses=UnitsOut)
    def get(self, request: Request) -> Response:
        """Which units one's pages show and take."""
        return _shown(request)

    @extend_schema(request=UnitsIn, responses=UnitsOut)
    @matching
    def put(self, request: Request) -> Response:
        """Choose them. Figures of this API are in °C and g all the same."""
        me = person(request)
        revision = expected_revision(request, User.objects.get(pk=me.pk))
        choose_units(by=me, revision=revision, **valid(UnitsIn, request))
        return _shown(request)


def _shown(request: Request) -> Response:
    now = User.objects.get(pk=person(request).pk)
    return tagged(request, now, UnitsOut(now).data)
