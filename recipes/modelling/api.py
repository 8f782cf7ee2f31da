"""Endpoints: the shot model fitted to check shots, what a change would do, a shot it pours."""

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid, Refused
from people.persons.verbs import Verb
from recipes.brewing.errors import QuantityError
from recipes.coffees.api import RecipeView
from recipes.formula.parameters import PARAMETERS
from recipes.modelling.actions import ask_for_fit
from recipes.modelling.forms import changeable, grind_factor
from recipes.modelling.models import ShotFit
from recipes.modelling.nearest import nearest_fit, why_none
from recipes.modelling.nominal import predict_shot
from recipes.modelling.prediction import predict_change
from recipes.modelling.result import from_json
from recipes.modelling.serializers import (
    ChangeQuery,
    FitIn,
    FitOut,
    FitQuery,
    FittedChange,
    NearestFitOut,
    NearestQuery,
    PredictedShotOut,
    PredictionOut,
)
from recipes.versions.api import all_versions
from recipes.versions.holding import said_at
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.metrology.formula import Stated
from web.api import Listing, asked, listed, person, valid
from web.idempotency import acting
from web.lookup import named, one_or_404


class FitView(RecipeView):
    """Fits at one's sites; asking for one is for leads."""

    acting_verb = Verb.MODEL_FIT

    def seen(self, request: Request) -> QuerySet[ShotFit]:
        """Those this person may see."""
        return ShotFit.objects.covered_by(person(request)).with_place()


class Fits(FitView, Listing):
    """All of them."""

    query = FitQuery

    @extend_schema(responses=FitOut(many=True))
    def get(self, request: Request) -> Response:
        """List fits, newest first."""
        return listed(self, self.seen(request).filter(**asked(FitQuery, request)), FitOut)

    @extend_schema(request=FitIn, responses={202: FitOut})
    @acting
    def post(self, request: Request) -> Response:
        """Have the model fitted by a worker; read the fit until its state is not waiting."""
        body, who = valid(FitIn, request), person(request)
        stations = Station.objects.covered_by(who).with_equipment()
        pk, allowed = body["station"], "the id of a station at a site of yours"
        station = named(stations, "station", pk, allowed, pk=pk)
        pk, versions = body["version"], Version.objects.with_recipe()
        version = named(versions, "version", pk, "the id of a version", pk=pk)
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

    query = FittedChange

    @extend_schema(responses=PredictionOut)
    def get(self, request: Request, pk: int) -> Response:
        """Pour the version by the fit, as it stands and with a change."""
        fit, change = one_or_404(self.seen(request), pk), asked(FittedChange, request)
        if fit.state != ShotFit.State.DONE:
            raise Refused(f"Fit {fit.pk} is {fit.get_state_display()}: it predicts nothing.")
        formula = said_at(fit.station, [fit.version])[fit.version_id]
        coarser = change.pop("coarser", None)
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


class NearestFit(FitView):
    """Whose fit a version is predicted with."""

    query = NearestQuery

    @extend_schema(responses=NearestFitOut)
    def get(self, request: Request, pk: int) -> Response:
        """Find the station's own fit, or the nearest one's, among those this person may see."""
        version, who = one_or_404(all_versions(), pk), person(request)
        station = None
        if (at := asked(NearestQuery, request).get("station")) is not None:
            stations = Station.objects.covered_by(who).with_equipment()
            station = named(
                stations, "station", at, "the id of a station at a site of yours", pk=at
            )
        whose = nearest_fit(who, version, station)
        near = ("own_station", "own_version", "same_type", "same_site")
        found = {
            "fit": whose and whose.fit,
            **{name: whose is not None and getattr(whose, name) for name in near},
            "words": whose.words(station) if whose else [],
            "why_none": "" if station is None or (whose and whose.own_station)
            else why_none(version, station),
        }  # fmt: skip
        return Response(NearestFitOut(found).data)


class PredictedShot(RecipeView):
    """What the model pours."""

    query = ChangeQuery

    @extend_schema(responses=PredictedShotOut)
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
