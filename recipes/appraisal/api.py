"""Endpoints: what follows from a formula, and the water that a beverage takes at a station."""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from recipes.appraisal.appraisal import appraise
from recipes.coffees.api import RecipeView
from recipes.formula.display import ratio_of
from recipes.formula.fields import FormulaIn
from recipes.formula.formula import Formula
from recipes.versions.api import all_versions
from stations.equipment.models import Site
from stations.metrology.atmosphere import boiling_margin
from stations.metrology.formula import TEMPERATURE
from web.api import person, valid
from web.fields import PlainDecimal
from web.lookup import one_or_404
from web.numbers import rounded


class YieldOut(serializers.Serializer[Any]):
    """Extraction yield in % of the dose, if the beverage's dissolved solids were `strength` %."""

    strength = PlainDecimal()
    extraction = PlainDecimal(source="percent")


class StretchOut(serializers.Serializer[Any]):
    """A stage of the pressure plan: from and to in words, pressures in bar (gauge)."""

    stage = serializers.CharField()
    start = serializers.CharField()
    stop = serializers.CharField()
    at_start = PlainDecimal()
    at_stop = PlainDecimal()


class PressurePlanOut(serializers.Serializer[Any]):
    """The plan, and what is odd about it."""

    ordinary = serializers.BooleanField()
    words = serializers.ListField(child=serializers.CharField())
    stretches = StretchOut(many=True)


class BoilingOut(serializers.Serializer[Any]):
    """A site where the water comes close to boiling: `margin` in °C, below 0 above boiling."""

    site = serializers.CharField(source="site.code")
    margin = PlainDecimal()
    words = serializers.CharField()


class UnableOut(serializers.Serializer[Any]):
    """Machines of one construction that can't hold the formula, and why."""

    machine_type = serializers.IntegerField(source="machine_type.pk")
    name = serializers.CharField(source="machine_type.name")
    machines = serializers.IntegerField()
    reasons = serializers.ListField(child=serializers.CharField())


class DoubtOut(serializers.Serializer[Any]):
    """Something unusual, answered by its `kind` when the draft is submitted."""

    kind = serializers.CharField()
    fields_it_rests_on = serializers.ListField(child=serializers.CharField(), source="fields")
    words = serializers.CharField()


class AppraisalOut(serializers.Serializer[Any]):
    """What follows from a formula, at the sites one's roles cover; never stored."""

    impossible = serializers.ListField(child=serializers.CharField())
    questions = DoubtOut(many=True)
    brew_ratio = PlainDecimal(allow_null=True)
    yields = YieldOut(many=True)
    balance = serializers.CharField(allow_blank=True)
    plan = PressurePlanOut(allow_null=True)
    boiling = BoilingOut(many=True)
    unable = UnableOut(many=True)


class AppraisalIn(serializers.Serializer[dict[str, Any]]):
    """A whole formula, as a draft takes it."""

    formula = FormulaIn()


class VersionAppraisal(RecipeView):
    """What follows from a version."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(responses=AppraisalOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read what follows from what a version says."""
        version = one_or_404(all_versions(), pk)
        return _appraised(request, version.stated)

    @extend_schema(request=AppraisalIn, responses=AppraisalOut)
    def post(self, request: Request, pk: int) -> Response:
        """Work out what would follow from another formula. Writes nothing."""
        one_or_404(all_versions(), pk)
        return _appraised(request, Formula.read(valid(AppraisalIn, request)["formula"]))


def _appraised(request: Request, formula: Formula) -> Response:
    sites = Site.objects.covered_by(person(request), Verb.RECIPE_VIEW)
    appraisal, wanted = appraise(formula, sites), formula.target(TEMPERATURE)
    boiling = [
        {"site": each.site, "words": each.words, "margin": _margin(wanted or Decimal(0), each.site)}
        for each in appraisal.boiling
    ]
    shown = {
        "impossible": appraisal.impossible, "questions": appraisal.doubts,
        "brew_ratio": ratio_of(formula), "yields": appraisal.yields, "balance": appraisal.balance,
        "plan": appraisal.plan, "boiling": boiling, "unable": appraisal.unable,
    }  # fmt: skip
    return Response(AppraisalOut(shown).data)


def _margin(wanted: Decimal, site: Site) -> Decimal:
    return rounded(boiling_margin(wanted, site.altitude, site.air_pressure), 2)
