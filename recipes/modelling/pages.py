"""A version poured by the shot model, as it stands and with a change; fitted to a station."""

from django.contrib import messages
from django.http import HttpResponse, QueryDict
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
from recipes.modelling.fitting import learnable
from recipes.modelling.forms import ChangeForm, FitForm, stations_with_shots
from recipes.modelling.models import ShotFit
from recipes.modelling.nominal import PredictedShot, predict_shot
from recipes.modelling.prediction import at_station, evidence_text, predict_change
from recipes.modelling.result import Shown, from_json, shown_fit
from recipes.versions.models import Version
from recipes.versions.pages import shown_version
from stations.equipment.models import Station
from web.form_pages import cleaned, status_of
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page, require_for_page


@page(Verb.RECIPE_VIEW)
def prediction(request: PageRequest, pk: int) -> HttpResponse:
    """What a change would do, by the model; at a station, by the newest fit to its shots."""
    version = shown_version(pk)
    formula = version.stated
    stations = stations_with_shots(version, request.user)
    form = ChangeForm(request.GET or None, formula=formula, stations=stations)
    context: dict[str, object] = {"version": version, "form": form}
    if form.is_bound and not form.is_valid():
        return render(request, "recipes/modelling/prediction.html", context, status=status_of(form))
    station: Station | None = form.cleaned_data["station"] if form.is_bound else None
    fit = _newest(version, station)
    shown = shown_fit(fit) if fit else None
    if station is not None:
        context |= _station_context(request, version, station, shown)
    wanted = form.changed(formula) if form.is_bound else formula
    coarser = form.grind_factor() if form.is_bound else 1.0
    try:
        context |= _shots(formula, wanted, coarser, shown)
    except QuantityError as error:
        context["fault"] = _fault(error)
    if fit is not None:
        context["ask_url"] = _ask_url(request.GET, version, fit)
    return render(request, "recipes/modelling/prediction.html", context)


def _newest(version: Version, station: Station | None) -> ShotFit | None:
    if station is None:
        return None
    rows = ShotFit.objects.done().with_place().filter(version=version, station=station)
    fit: ShotFit | None = rows.select_related("newest_shot").first()
    return fit


def _station_context(
    request: PageRequest, version: Version, station: Station, fit: Shown | None
) -> dict[str, object]:
    """The fit, the one under way, and what there would be to learn from."""
    last = ShotFit.objects.filter(version=version, station=station).select_related("by").first()
    newest, shots = fit.fit.newest_shot if fit else None, learnable(station, version)
    since = (shots.after(newest) if newest else shots).count()
    return {
        "station": station,
        "site": station.machine.site,
        "fit": fit,
        "since": since,
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
    """The shot drawn, and both beside one another. Raises QuantityError."""
    changed = wanted != formula or coarser != 1.0
    if fit is not None:
        compared = predict_change(fit.kept, formula, wanted, coarser)
        shot = predict_shot(at_station(fit.kept, wanted), fit.kept.fit.applied, coarser)
        return {"shot": shot, "prediction": compared, "changed": changed}
    rows: list[tuple[str, PredictedShot]] = []
    try:
        rows.append(("as it stands", predict_shot(formula)))
    except QuantityError:
        if not changed:
            raise
    shot = predict_shot(wanted, coarser=coarser)
    if changed:
        rows.append(("with the change", shot))
    return {"shot": shot, "rows": rows, "changed": changed}


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
    rows = ShotFit.objects.covered_by(request.user).done().with_place().filter(version=version)
    fit = one_or_404(rows, asked_number(request, "fit", "the number of a fit"))
    formula, kept = version.stated, from_json(fit.result)
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
