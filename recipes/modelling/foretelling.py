"""What a finer grind does at a station, by the shot model: for advice where shots are too few."""

from dataclasses import replace

from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.parameters import Setup
from recipes.brewing.shot_model.reading import ends_of
from recipes.modelling.fitting import held_formula
from recipes.modelling.models import ShotFit
from recipes.modelling.nominal import setup_of
from recipes.modelling.result import from_json
from recipes.versions.models import Version
from stations.advice.model import Foretold
from stations.shots.models import CheckShot

FINER = 0.98  # of the grind: far enough for the difference, near enough for a straight line


def foretell(shot: CheckShot) -> Foretold | None:
    """What one percent finer does to time and beverage, from the station's fit if there is one.

    None where the shot was poured under nothing signed, or its formula makes no shot.
    """
    rows = Version.objects.with_formula().signed_as([shot.placement.settings.content_digest])
    version: Version | None = rows.first()
    if version is None:
        return None
    station = shot.slot.station
    try:
        held = shot.placement.settings
        formula = held_formula(version.stated_for(held.variant_id), held.values, station)
        setup = _fitted(setup_of(formula).setup, version, station.pk)
        finer = replace(setup, puck=replace(setup.puck, grind=setup.puck.grind * FINER))
        (time, beverage, _), (longer, less, _) = ends_of([setup, finer])
    except QuantityError:
        return None
    percents = 100 * (1 - FINER)
    return Foretold(float(longer - time) / percents, float(less - beverage) / percents)


def _fitted(setup: Setup, version: Version, station_id: int) -> Setup:
    fit = ShotFit.objects.done().filter(version=version, station=station_id).first()
    return from_json(fit.result).fit.applied(setup) if fit else setup
