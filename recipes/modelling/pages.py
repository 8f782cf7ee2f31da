"""A version poured by the shot model, as it stands and with a change; fitted to a station."""

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse

from audit.errors import Invalid
from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.fit import PASSES
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS
from recipes.modelling.actions import ask_for_fit, progress
from recipes.modelling.fitting import learnable, learning_from
from recipes.modelling.forms import ChangeForm, FitForm, stations_brewing
from recipes.modelling.models import ShotFit
from recipes.modelling.nearest import Whose, nearest_fit, why_none
from recipes.modelling.nominal import PredictedShot, predict_shot
from recipes.modelling.overlay import AFTER, BEFORE, overlay
from recipes.modelling.pouring import poured_by_worker
from recipes.modelling.prediction import evidence_text, predict_change, unknowable
from recipes.modelling.puck import other_puck
from recipes.modelling.result import Shown, from_json, shown_fit
from recipes.versions.holding import said_at, variants_at
from recipes.versions.models import Version
from recipes.versions.pages import shown_version
from stations.equipment.models import Station
from stations.machine_types.models import MachineType
from web.form_pages import cleaned, status_of
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page, require_for_page

MOST_DIGITS = 9  # of a key


@page(Verb.RECIPE_VIEW)
def prediction(request: PageRequest, pk: int) -> HttpResponse:
    """What a change would do, by the model: with the station's fit, or the nearest one's."""
    version = shown_version(pk)
    stations = stations_brewing(version, request.user)
    formula, variant = _formula_at(version, stations, request.GET.get("station", ""))
    form = ChangeForm(request.GET or None, formula=formula, stations=stations)
    may_taste = may(request.user, Verb.TASTING_RUN)
    context: dict[str, object] = {
        "version": version, "form": form, "variant": variant, "may_taste": may_taste,
    }  # fmt: skip
    if form.is_bound and not form.is_valid():
        return render(request, "recipes/modelling/prediction.html", context, status=status_of(form))
    station: Station | None = form.cleaned_data["station"] if form.is_bound else None
    whose = nearest_fit(request.user, version, station)
    shown = shown_fit(whose.fit) if whose else None
    context |= {"fit": shown, "whose": whose, "whose_words": whose.words(station) if whose else []}
    if station is not None:
        context |= _station_context(request, version, station, whose)
    wanted = form.changed(formula) if form.is_bound else formula
    coarser = form.grind_factor() if form.is_bound else 1.0
    try:
        context |= _shots(formula, wanted, coarser, shown)
    except QuantityError as error:
        context["fault"] = _fault(error)
    if whose is not None and whose.own_station:
        context["ask_url"] = _ask_url(request.GET, version, whose.fit)
    return render(request, "recipes/modelling/prediction.html", context)


def _formula_at(
    version: Version, stations: QuerySet[Station], asked: str
) -> tuple[Formula, MachineType | None]:
    """What the version says to the station asked for, and its type where that is a variant."""
    variants = version.variants
    if not variants or not asked.isdecimal() or len(asked) > MOST_DIGITS:
        return version.stated, None
    station = stations.filter(pk=asked).select_related("machine__machine_type").first()
    of = station.machine.machine_type if station else None
    if station is None or of is None or variants_at(station, [version])[version.pk] != of.pk:
        return version.stated, None
    return variants[of.pk], of


def _station_context(
    request: PageRequest, version: Version, station: Station, whose: Whose | None
) -> dict[str, object]:
    """The fit under way, what there would be to learn from, and why an earlier fit is not used."""
    last = ShotFit.objects.filter(version=version, station=station).select_related("by").first()
    mine = whose is not None and whose.own_station
    newest = whose.fit.newest_shot if whose is not None and mine else None
    shots = learnable(station, learning_from(version, station))
    since = (shots.after(newest) if newest else shots).count()
    return {
        "station": station,
        "site": station.machine.site,
        "since": since,
        "learnable": mine or since > 0,
        "why_none": "" if mine else why_none(version, station),
        "may_fit": may(request.user, Verb.MODEL_FIT, station.machine.site_id),
        "may_ask": may(request.user, Verb.REQUEST_MAKE, station.machine.site_id)
        and version.state == Version.State.APPROVED,
        **_progress(last),
    }


def _progress(last: ShotFit | None) -> dict[str, object]:
    """The newest fit where it is under way, or came to nothing."""
    if last is None or last.state == ShotFit.State.DONE:
        return {}
    return {"last": last, "passes": progress(last), "most": PASSES}


def _shots(
    formula: Formula, wanted: Formula, coarser: float, fit: Shown | None
) -> dict[str, object]:
    """Both shots over one another and their figures, what can't be known first.

    Raises QuantityError.
    """
    changed = wanted != formula or coarser != 1.0
    if fit is not None:
        compared = predict_change(fit.kept, formula, wanted, coarser, poured_by_worker)
        told = {"prediction": compared, "changed": changed, "doubts": compared.doubts}
        if compared.courses is None:
            return {**told, "running": True}
        before, after = compared.courses
        return {**told, "overlay": overlay(before, after if changed else None)}
    shots: dict[str, PredictedShot] = {}
    try:
        shots[BEFORE] = predict_shot(formula)
    except QuantityError:
        if not changed:
            raise
    if changed:
        shots[AFTER] = predict_shot(wanted, coarser=coarser)
    courses = {name: one.course for name, one in shots.items()}
    drawn = shots[AFTER if changed else BEFORE]
    return {
        "overlay": overlay(courses.get(BEFORE), courses.get(AFTER)), "rows": shots.items(),
        "changed": changed, "doubts": [*unknowable(formula, wanted), *drawn.assumed],
    }  # fmt: skip


def _fault(error: QuantityError) -> str:
    known = PARAMETERS.get(error.field)
    return (
        f"No shot can be modelled: {known.label if known else error.field} needs {error.allowed}."
    )


def _ask_url(asked: QueryDict, version: Version, fit: ShotFit) -> str:
    """A new request with the change proposed and the prediction as its evidence."""
    query = asked.copy()
    query.pop("station", None)
    query["version"], query["fit"] = str(version.pk), str(fit.pk)
    return f"{reverse('recipes:request_new')}?{query.urlencode()}"


def initial_from_prediction(request: PageRequest, version: Version) -> dict[str, object]:
    """A request's fields from the prediction that ?fit= leads from; nothing without one.

    Raises Http404, and Invalid naming what of the change can't be.
    """
    if "fit" not in request.GET:
        return {}
    rows = ShotFit.objects.covered_by(request.user).done().with_place()
    rows = rows.filter(version__recipe__coffee=version.recipe.coffee_id)
    fit = one_or_404(rows, asked_number(request, "fit", "the number of a fit"))
    said = said_at(fit.station, [fit.version, version])
    formula = said[version.pk]
    if other_puck(said[fit.version_id], formula):
        raise Http404
    kept = from_json(fit.result)
    form = ChangeForm(request.GET, formula=formula, stations=Station.objects.none())
    cleaned(form)
    wanted = form.changed(formula)
    try:
        predicted = predict_change(kept, formula, wanted, form.grind_factor())
    except QuantityError as error:
        raise Invalid(error.field, None, error.allowed) from error
    other = formula.differing(wanted)
    values = {code: wanted[code].target for code in form.codes if code in other}
    site = fit.station.machine.site_id
    return {**values, "site": site, "evidence": evidence_text(fit, kept, predicted)}


@page(Verb.RECIPE_VIEW, methods="POST")
def fit_ask(request: PageRequest, pk: int) -> HttpResponse:
    """Have the model fitted to this station's shots under the version that is sent."""
    station = one_or_404(Station.objects.covered_by(request.user).with_equipment(), pk)
    require_for_page(request, Verb.MODEL_FIT, station.machine.site_id)
    asked = FitForm(request.POST)
    version = shown_version(cleaned(asked)["version"])
    made = ask_for_fit(by=request.user, station=station, version=version)
    messages.success(request, "The fit has started.")
    return redirect(made)


@page(Verb.RECIPE_VIEW)
def fit_progress(request: PageRequest, pk: int) -> HttpResponse:
    """How far a fit is; asked again and again while it is under way."""
    fit = one_or_404(ShotFit.objects.covered_by(request.user).with_place(), pk)
    answer = render(
        request, "recipes/modelling/partials/fit_progress.html", {"last": fit} | _progress(fit)
    )
    if fit.state != ShotFit.State.WAITING:
        answer["HX-Refresh"] = "true"  # what it found is on the page around it
    return answer
