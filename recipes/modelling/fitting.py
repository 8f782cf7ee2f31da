"""What a station's check shots under one version teach: the shot model fitted to them."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np
from django.db.models import prefetch_related_objects

from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.fit import FREE, Noise, Pulled, fit_shots, tellable
from recipes.brewing.shot_model.parameters import Ending, EndsBy
from recipes.brewing.shot_model.reading import ENDS, ends_of
from recipes.formula.control_settings import formula_set
from recipes.formula.formula import Formula
from recipes.formula.parameters import ENDED_BY
from recipes.modelling.nominal import setup_of
from recipes.modelling.puck import other_puck
from recipes.modelling.result import Kept
from recipes.versions.holding import said_at
from recipes.versions.lineage import earlier_versions
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.equipment.replaced import baselines_end
from stations.equipment.traits import traits_at
from stations.metrology.formula import DOSE, Stated
from stations.shots.models import CheckShot, CheckShotQuerySet

NEWEST = 100  # shots learnt from
FEWEST = 5  # before, a spread can't be told from a change; common practice, no source
# How far shots of one setting lie apart at a bar; common practice, no source. The fit's own
# misfit corrects it, so that only the three to one another matter.
NOISE = Noise(time=0.8, mass=0.5, tds=0.15)
Values = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True, slots=True)
class Learnt:
    """A shot, the formula its slot held at that moment, and both as the model takes them."""

    shot: CheckShot
    formula: Formula
    pulled: Pulled


def learning_from(version: Version, station: Station) -> dict[str, Version]:
    """By content, the versions whose shots there teach of this version's puck: its own first.

    Earlier versions of the recipe count where coffee, dose, basket and grind are the same: the
    model knows pressure, temperature and water, so that those may differ. Each as the station
    brewed it, by a variant where it got one. Nothing for a draft.
    """
    if not version.content_digest:
        return {}
    versions = [version, *earlier_versions(version.content_digest)[1:]]
    said = said_at(station, versions)
    same = (one for one in versions if not other_puck(said[one.pk], said[version.pk]))
    return {one.content_digest: one for one in same}


def learnable(station: Station, contents: Collection[str]) -> CheckShotQuerySet:
    """The shots that say something, the newest first: with the pump and the flow meter of now."""
    rows = CheckShot.objects.counted().of_contents(contents).filter(slot__station=station)
    if ended := baselines_end(station):
        rows = rows.filter(at__gt=ended)
    return rows.newest_first()


def learnt(station: Station, version: Version) -> list[Learnt]:
    """The newest ones, oldest first. Raises QuantityError where the version makes no shot."""
    says = learning_from(version, station)
    prefetch_related_objects([*says.values()], "formula", "variant_values")
    rows = learnable(station, says).select_related("placement__settings")[:NEWEST]
    return [
        _learnt(shot, says[shot.placement.settings.content_digest], station)
        for shot in reversed(rows)
    ]


def _learnt(shot: CheckShot, version: Version, station: Station) -> Learnt:
    held = shot.placement.settings
    brewed = held_formula(version.stated_for(held.variant_id), held.values, station)
    brewed |= {DOSE: Stated(shot.dose_mass)}
    setup = setup_of(brewed).setup
    strength = None if shot.strength is None else float(shot.strength)
    time, beverage = float(shot.shot_time), float(shot.beverage_mass)
    if brewed.ends_by not in ENDED_BY:
        # It ended where somebody ended it, so that only the time was left to the puck.
        setup = replace(setup, ending=Ending(EndsBy.MASS, beverage))
    return Learnt(shot, brewed, Pulled(setup, time=time, beverage=beverage, tds=strength))


def held_formula(formula: Formula, values: Values, station: Station) -> Formula:
    """The version's formula as this slot was really set: its settings in physical units again."""
    return formula | formula_set(values, traits_at(station))


def covered(shots: Sequence[Learnt]) -> dict[str, tuple[Decimal, Decimal]]:
    """From what to what each parameter's target went over the shots."""
    targets: dict[str, list[Decimal]] = {}
    for each in shots:
        for code, stated in each.formula.items():
            if stated.target is not None:
                targets.setdefault(code, []).append(stated.target)
    return {code: (min(values), max(values)) for code, values in targets.items()}


def fitted(learnt_from: list[Learnt], passed: Callable[[], None] = lambda: None) -> Kept:
    """Free what these shots can tell, and fit it. Raises QuantityError if they tell nothing."""
    shots = [each.pulled for each in learnt_from]
    names = tellable(shots, noise=NOISE)
    if not names:
        raise QuantityError("shots", len(shots), "shots that tell something about the puck")
    fit = fit_shots(shots, free=names, noise=NOISE, passed=passed)
    made = ends_of([fit.applied(shot.setup) for shot in shots])
    fixed = tuple(name for name in FREE if name not in names)
    assumed = setup_of(learnt_from[-1].formula).assumed
    ids = [each.shot.pk for each in learnt_from]
    return Kept(fit, fixed, _spread(shots, made), covered(learnt_from), ids, made, assumed)


def _spread(shots: list[Pulled], made: Floats) -> dict[str, float]:
    """Standard deviation of measured minus modelled, where two or more were measured."""
    spread = {}
    for at, name in enumerate(ENDS):
        pairs = [(getattr(shot, name), made[row, at]) for row, shot in enumerate(shots)]
        off = [value - model for value, model in pairs if value is not None]
        if len(off) > 1:
            spread[name] = float(np.sqrt(np.sum(np.square(off)) / (len(off) - 1)))
    return spread
