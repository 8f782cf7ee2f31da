"""Endpoint: the shot that the model pours for a version, as it stands or with a change."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid, Refused
from people.web.api import asked
from people.web.fields import PlainDecimal
from people.web.pages import one_or_404
from recipes.api.coffees import RecipeView
from recipes.api.versions import all_versions
from recipes.brewing.errors import QuantityError
from recipes.foretelling import foretell
from recipes.formula import Entry, stored, target_bounds
from recipes.parameters import PARAMETERS

CHANGEABLE = (
    "dose_mass", "beverage_mass", "water_volume", "brew_temperature", "preinfusion_time",
    "preinfusion_pressure", "rise_time", "brew_pressure",
)  # fmt: skip


class ChangeQuery(serializers.Serializer[dict[str, Any]]):
    """Other targets for some parameters; what is left out stays as the version says."""

    def get_fields(self) -> dict[str, Any]:
        """One for each parameter that the model knows."""
        return {
            code: PlainDecimal(bounds=target_bounds(PARAMETERS[code]), required=False)
            for code in CHANGEABLE
        }


class SampleOut(serializers.Serializer[Any]):
    """One moment: s, bar at the puck, mL/s, g in the cup, % strength of the stream."""

    time = PlainDecimal()
    pressure = PlainDecimal()
    flow = PlainDecimal()
    beverage = PlainDecimal()
    strength = PlainDecimal()


class ForetoldOut(serializers.Serializer[Any]):
    """A modelled shot: s, mL, g, % dissolved solids, % of the dose; `ended` false: cut short."""

    time = PlainDecimal()
    water = PlainDecimal()
    beverage = PlainDecimal()
    tds = PlainDecimal()
    extraction = PlainDecimal()
    ended = serializers.BooleanField()
    samples = SampleOut(many=True)


class Foretold(RecipeView):
    """What the model pours."""

    @extend_schema(parameters=[ChangeQuery], responses=ForetoldOut)
    def get(self, request: Request, pk: int) -> Response:
        """Pour a version by the model at its default parameters, fitted to no station."""
        version, change = one_or_404(all_versions(), pk), asked(ChangeQuery, request)
        formula = stored(version.formula.all())
        wanted = formula | {code: Entry(target) for code, target in change.items()}
        try:
            told = foretell(wanted)
        except QuantityError as odd:
            if odd.field in change:
                raise Invalid(odd.field, change[odd.field], odd.allowed) from odd
            label = PARAMETERS[odd.field].label if odd.field in PARAMETERS else odd.field
            raise Refused(f"No shot can be modelled: {label} needs {odd.allowed}.") from odd
        return Response(ForetoldOut(told).data)
