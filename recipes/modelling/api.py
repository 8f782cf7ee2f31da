"""Endpoints: the shot model fitted to a station's check shots, and what a change would do there."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid, Refused
from people.persons.verbs import Verb
from recipes.brewing.errors import QuantityError
from recipes.coffees.api import RecipeView
from recipes.formula.formula import target_bounds
from recipes.formula.parameters import PARAMETERS
from recipes.modelling.fitting import ask_for_fit
from recipes.modelling.forms import CHANGEABLE, COARSER, changeable, grind_factor
from recipes.modelling.models import ShotFit
from recipes.modelling.nominal import predict_shot
from recipes.modelling.prediction import predict_change
from recipes.modelling.result import Parameter, from_json, parameters
from recipes.versions.api import all_versions
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.metrology.formula import Stated
from web.api import asked, listed, person, valid
from web.fields import ID, PlainDecimal
from web.idempotency import acting
from web.lookup import one_or_404


class FittedParameter(serializers.Serializer[Any]):
    """One parameter; `uncertainty` (standard) is null where these shots can't tell it."""

    parameter = serializers.CharField(source="label")
    unit = serializers.CharField()
    value = PlainDecimal()
    uncertainty = PlainDecimal(allow_null=True)


class FitOut(serializers.ModelSerializer[ShotFit]):
    """A fit; `parameters` once it is done, `why_not` where it is impossible.

    `spread` is the standard deviation of measured less modelled: time s, beverage g, tds %.
    """

    asked_by = serializers.CharField(source="by.name")
    parameters = serializers.SerializerMethodField()
    covariance = serializers.SerializerMethodField()
    spread = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = ShotFit
        fields = [
            "id", "station", "version", "asked_by", "asked_at", "state", "finished_at", "shots",
            "newest_shot", "why_not", "parameters", "covariance", "spread",
        ]  # fmt: skip

    @extend_schema_field(FittedParameter(many=True))
    def get_parameters(self, fit: ShotFit) -> Any:  # noqa: ANN401
        """Those that were fitted, then those that were held."""
        fitted: list[Parameter] = parameters(from_json(fit.result)) if fit.result else []
        return FittedParameter(fitted, many=True).data

    def get_covariance(self, fit: ShotFit) -> list[list[str]]:
        """Of the fitted parameters, in their order and units."""
        return fit.result["covariance"] if fit.result else []

    def get_spread(self, fit: ShotFit) -> dict[str, str]:
        """Of what was measured."""
        return fit.result["spread"] if fit.result else {}


class FitIn(serializers.Serializer[dict[str, Any]]):
    """Where, and under which version."""

    station = serializers.IntegerField(**ID)
    version = serializers.IntegerField(**ID)


class FitQuery(serializers.Serializer[dict[str, Any]]):
    """Fits of one station or version."""

    station = serializers.IntegerField(required=False, **ID)
    version = serializers.IntegerField(required=False, **ID)


class FittedChange(serializers.Serializer[dict[str, Any]]):
    """Other targets; what is left out stays as the version says. `coarser` is the grind, in %."""

    def get_fields(self) -> dict[str, Any]:
        """One for each parameter that the model knows, and the grind."""
        bounds = {code: target_bounds(PARAMETERS[code]) for code in CHANGEABLE}
        bounds["coarser"] = COARSER
        return {code: PlainDecimal(bounds=each, required=False) for code, each in bounds.items()}


class Mean(serializers.Serializer[Any]):
    """A mean with its 95 % interval."""

    value = PlainDecimal()
    low = PlainDecimal()
    high = PlainDecimal()


class PredictionRow(serializers.Serializer[Any]):
    """One quantity: time s, water mL, beverage g, tds %, extraction % of the dose."""

    name = serializers.CharField()
    unit = serializers.CharField()
    base = Mean()
    changed = Mean()
    difference = Mean()


class PredictionOut(serializers.Serializer[Any]):
    """As it stands and with the change; `doubts` say what can't be concluded from it."""

    changes = serializers.ListField(child=serializers.CharField())
    rows = PredictionRow(many=True)
    doubts = serializers.ListField(child=serializers.CharField())


class FitView(RecipeView):
    """Fits at one's sites; asking for one is for leads."""

    acting_verb = Verb.MODEL_FIT

    def seen(self, request: Request) -> QuerySet[ShotFit]:
        """Those this person may see."""
        return ShotFit.objects.covered_by(person(request)).with_place()


class Fits(FitView):
    """All of them."""

    @extend_schema(parameters=[FitQuery], responses=FitOut(many=True))
    def get(self, request: Request) -> Response:
        """List fits, newest first."""
        return listed(self, self.seen(request).filter(**asked(FitQuery, request)), FitOut)

    @extend_schema(request=FitIn, responses={202: FitOut})
    @acting
    def post(self, request: Request) -> Response:
        """Have the model fitted by a worker; read the fit until its state is not waiting."""
        body, who = valid(FitIn, request), person(request)
        stations = Station.objects.covered_by(who).with_equipment()
        station = stations.filter(pk=body["station"]).first()
        if station is None:
            raise Invalid("station", body["station"], "the id of a station at a site of yours")
        version = Version.objects.with_recipe().filter(pk=body["version"]).first()
        if version is None:
            raise Invalid("version", body["version"], "the id of a version")
        made = ask_for_fit(by=who, station=station, version=version)
        return Response(FitOut(self.seen(request).get(pk=made.pk)).data, 202)


class OneFit(FitView):
    """One of them."""

    @extend_schema(responses=FitOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a fit."""
        return Response(FitOut(one_or_404(self.seen(request), pk)).data)


class Prediction(FitView):
    """What a change would do at the station."""

    @extend_schema(parameters=[FittedChange], responses=PredictionOut)
    def get(self, request: Request, pk: int) -> Response:
        """Pour the version by the fit, as it stands and with a change."""
        fit, change = one_or_404(self.seen(request), pk), asked(FittedChange, request)
        if fit.state != ShotFit.State.DONE:
            raise Refused(f"Fit {fit.pk} is {fit.get_state_display()}: it predicts nothing.")
        formula, coarser = fit.version.stated, change.pop("coarser", None)
        wanted = formula.with_targets(change)
        for code in change.keys() - set(changeable(formula)):
            raise Invalid(code, change[code], "left out: in this version it follows from the rest")
        kept = from_json(fit.result)
        try:
            predicted = predict_change(kept, formula, wanted, grind_factor(coarser))
        except QuantityError as odd:
            if odd.field in change:
                raise Invalid(odd.field, change[odd.field], odd.allowed) from odd
            raise Refused(f"No shot can be modelled: {odd.field} needs {odd.allowed}.") from odd
        return Response(PredictionOut(predicted).data)


# Endpoint: the shot that the model pours for a version, as it stands or with a change.

PREDICTABLE = [code for code, parameter in PARAMETERS.items() if parameter.modelled]


class ChangeQuery(serializers.Serializer[dict[str, Any]]):
    """Other targets for some parameters; what is left out stays as the version says."""

    def get_fields(self) -> dict[str, Any]:
        """One for each parameter that the model knows."""
        return {
            code: PlainDecimal(bounds=target_bounds(PARAMETERS[code]), required=False)
            for code in PREDICTABLE
        }


class SampleOut(serializers.Serializer[Any]):
    """One moment: s, bar at the puck, mL/s, g in the cup, % strength of the stream."""

    time = PlainDecimal()
    pressure = PlainDecimal()
    flow = PlainDecimal()
    beverage = PlainDecimal()
    strength = PlainDecimal()


class PredictedShotOut(serializers.Serializer[Any]):
    """A modelled shot: s, mL, g, % dissolved solids, % of the dose; `ended` false: cut short."""

    time = PlainDecimal()
    water = PlainDecimal()
    beverage = PlainDecimal()
    tds = PlainDecimal()
    extraction = PlainDecimal()
    ended = serializers.BooleanField()
    samples = SampleOut(many=True)


class PredictedShot(RecipeView):
    """What the model pours."""

    @extend_schema(parameters=[ChangeQuery], responses=PredictedShotOut)
    def get(self, request: Request, pk: int) -> Response:
        """Pour a version by the model at its default parameters, fitted to no station."""
        version, change = one_or_404(all_versions(), pk), asked(ChangeQuery, request)
        formula = version.stated
        wanted = formula | {code: Stated(target) for code, target in change.items()}
        try:
            shot = predict_shot(wanted)
        except QuantityError as odd:
            if odd.field in change:
                raise Invalid(odd.field, change[odd.field], odd.allowed) from odd
            label = PARAMETERS[odd.field].label if odd.field in PARAMETERS else odd.field
            raise Refused(f"No shot can be modelled: {label} needs {odd.allowed}.") from odd
        return Response(PredictedShotOut(shot).data)
