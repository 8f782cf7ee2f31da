"""Endpoint: how much water a station needs for a beverage mass."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.verbs import Verb
from recipes.brewing.errors import QuantityError
from recipes.formula.formula import target_bounds
from recipes.formula.parameters import PARAMETERS
from recipes.retention.learning import balance_of
from stations.equipment.models import Station
from stations.metrology.formula import BEVERAGE, DOSE
from web.api import GuardedView, asked, person
from web.fields import PlainDecimal
from web.lookup import one_or_404


class BeverageQuery(serializers.Serializer[dict[str, Any]]):
    """What should be in the cup [g], from how much coffee [g]."""

    dose = PlainDecimal(bounds=target_bounds(PARAMETERS[DOSE]))
    beverage = PlainDecimal(bounds=target_bounds(PARAMETERS[BEVERAGE]))


class RetainedOut(serializers.Serializer[Any]):
    """Liquid the coffee keeps back, in g per g, with its 95 % interval."""

    low = PlainDecimal()
    ratio = PlainDecimal()
    high = PlainDecimal()


class BeverageOut(serializers.Serializer[Any]):
    """Water for a beverage at a station; `low` to `high` is the next single cup in g."""

    retained = RetainedOut()
    learnt = serializers.BooleanField(help_text="false: by common practice, too few shots")
    used = serializers.IntegerField(help_text="shots learnt from")
    alike = serializers.IntegerField(
        help_text="shots of a dose within 15 %, under whichever version or coffee"
    )
    apart = serializers.IntegerField(help_text="shots of other doses, which say little of this one")
    set_aside = serializers.IntegerField(help_text="shots such as a spilt cup")
    water = PlainDecimal(help_text="mL")
    pulses = PlainDecimal(allow_null=True)
    low = PlainDecimal()
    high = PlainDecimal()


class Beverage(GuardedView):
    """A station's water balance."""

    verb = Verb.EQUIPMENT_VIEW
    query = BeverageQuery

    @extend_schema(responses=BeverageOut)
    def get(self, request: Request, pk: int) -> Response:
        """Ask how much water gives a beverage, by what the station's own shots kept back."""
        station = one_or_404(Station.objects.covered_by(person(request)), pk)
        query = asked(BeverageQuery, request)
        try:
            balance = balance_of(station, query["dose"], query["beverage"])
        except QuantityError as odd:
            raise Invalid(odd.field, query.get(odd.field, odd.value), odd.allowed) from odd
        low, ratio, high = balance.ratio
        shown = {
            "retained": {"low": low, "ratio": ratio, "high": high}, "learnt": balance.learnt,
            "used": balance.used, "alike": balance.alike, "apart": balance.apart,
            "set_aside": balance.set_aside, "water": balance.water,
            "pulses": balance.pulses, "low": balance.low, "high": balance.high,
        }  # fmt: skip
        return Response(BeverageOut(shown).data)
