"""Fits of the shot model and what it predicts, as the API shows and takes them."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from recipes.formula.formula import target_bounds
from recipes.formula.parameters import PARAMETERS
from recipes.modelling.forms import CHANGEABLE, COARSER
from recipes.modelling.models import ShotFit
from recipes.modelling.result import Parameter, from_json, parameters
from web.fields import ID, PlainDecimal


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


class NearestQuery(serializers.Serializer[dict[str, Any]]):
    """Where the version is to be predicted; at no station: the newest fit there is."""

    station = serializers.IntegerField(required=False, **ID)


class NearestFitOut(serializers.Serializer[Any]):
    """The fit to predict with, null where none is of such a puck, and how near it is.

    A fit is of the same coffee, dose, basket and grind. `why_none` says what changed since the
    station's own earlier fit, empty without one.
    """

    fit = FitOut(allow_null=True)
    own_station = serializers.BooleanField()
    own_version = serializers.BooleanField()
    same_type = serializers.BooleanField()
    same_site = serializers.BooleanField()
    words = serializers.ListField(child=serializers.CharField())
    why_none = serializers.CharField(allow_blank=True)


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
    """`doubts` first: what can't be known or concluded; then as it stands and with the change."""

    doubts = serializers.ListField(child=serializers.CharField())
    changes = serializers.ListField(child=serializers.CharField())
    rows = PredictionRow(many=True)


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
