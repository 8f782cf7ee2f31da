"""Endpoints: what a tasting could show before it is kept, and what goes into which cup."""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.permissions import require
from people.verbs import Verb
from people.web.api import asked, noting_refusal, person
from people.web.fields import PlainDecimal
from people.web.numbers import Bounds
from people.web.pages import one_or_404
from recipes.api.tastings import TastingView
from recipes.brewing.serving import MOST_SERVINGS
from recipes.brewing.taste import Method
from recipes.models.tasting import METHODS
from recipes.tastings.plan import LEAST_RISK, MOST_RISK, prospect
from recipes.tastings.result import session

RISK = Bounds(LEAST_RISK, MOST_RISK, places=4, unit="1")
SHARE = Bounds(Decimal("0.05"), Decimal(1), places=2, unit="1")


class ForecastQuery(serializers.Serializer[dict[str, Any]]):
    """A plan to judge; `share` is of tasters who could really tell."""

    method = serializers.ChoiceField(choices=METHODS)
    assessments = serializers.IntegerField(min_value=1, max_value=MOST_SERVINGS)
    risk = PlainDecimal(bounds=RISK, default=Decimal("0.05"))
    share = PlainDecimal(bounds=SHARE, default=Decimal("0.4"))


class ForecastOut(serializers.Serializer[Any]):
    """Answers needed (null: no number is enough), power in %, and answers for a power of 80 %.

    `panel_least` answers reach it, from `panel_steady` on it is kept; null: more than 300.
    """

    needed = serializers.IntegerField(allow_null=True)
    power = PlainDecimal()
    panel_least = serializers.IntegerField(source="panel.least", allow_null=True)
    panel_steady = serializers.IntegerField(source="panel.steady", allow_null=True)


class ServingOut(serializers.Serializer[Any]):
    """One serving: samples in order, from left to right, and the codes on the cups."""

    number = serializers.IntegerField()
    order = serializers.CharField(help_text="A and B; in a duo-trio the first is the reference")
    codes = serializers.ListField(child=serializers.CharField())


class TastingForecast(TastingView):
    """Judging a plan."""

    verb = Verb.TASTING_RUN
    pagination_class = None

    @extend_schema(parameters=[ForecastQuery], responses=ForecastOut)
    def get(self, request: Request) -> Response:
        """Ask how many answers a tasting needs, and how often it would find something."""
        query = asked(ForecastQuery, request)
        told = prospect(
            Method(query["method"]), query["assessments"], query["risk"], query["share"]
        )
        return Response(ForecastOut(told).data)


class TastingServings(TastingView):
    """Who pours what."""

    verb = Verb.TASTING_RUN
    pagination_class = None

    @extend_schema(responses=ServingOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """Read the pourer's sheet: it holds the key, so it is for those who run the tasting."""
        found = one_or_404(self.seen(request), pk)
        with noting_refusal(request):
            require(person(request), Verb.TASTING_RUN, found.site_id)
        return Response(ServingOut(session(found), many=True).data)
