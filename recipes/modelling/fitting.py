"""Asking for a fit: once at a time for a station and a version."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal

import numpy as np
from celery import current_app
from django.core.cache import cache
from django.db import connection, transaction
from django.db.models import QuerySet
from django.utils import timezone
from redis.exceptions import RedisError

from audit.capture.context import recorded
from audit.errors import Refused, Subject
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.fit import FREE, PASSES, Noise, Pulled, fit_shots, tellable
from recipes.brewing.shot_model.parameters import Ending, EndsBy
from recipes.brewing.shot_model.reading import ENDS, ends_of
from recipes.formula.control_settings import formula_set
from recipes.formula.formula import Formula
from recipes.formula.parameters import ENDED_BY
from recipes.modelling import history
from recipes.modelling.models import ShotFit
from recipes.modelling.nominal import setup_of
from recipes.modelling.result import Kept, to_json
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.equipment.traits import traits_at
from stations.metrology.formula import DOSE, Stated
from stations.shots.models import CheckShot
from web.printing import counted

# A station's check shots under one version, as the shot model's fit takes them.

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


def learnable(station: Station, version: Version) -> QuerySet[CheckShot]:
    """The shots that say something, the newest first."""
    rows = CheckShot.objects.counted().of_content(version.content_digest)
    return rows.filter(slot__station=station).order_by("-id")


def learnt(station: Station, version: Version) -> list[Learnt]:
    """The newest ones, oldest first. Raises QuantityError where the version makes no shot."""
    says = version.stated
    rows = learnable(station, version).select_related("placement__settings")[:NEWEST]
    return [_learnt(shot, says, station) for shot in reversed(rows)]


def _learnt(shot: CheckShot, says: Formula, station: Station) -> Learnt:
    held = held_formula(says, shot.placement.settings.values, station)
    held |= {DOSE: Stated(shot.dose_mass)}
    setup = setup_of(held).setup
    strength = None if shot.strength is None else float(shot.strength)
    time, beverage = float(shot.shot_time), float(shot.beverage_mass)
    if held.ends_by not in ENDED_BY:
        # It ended where somebody ended it, so that only the time was left to the puck.
        setup = replace(setup, ending=Ending(EndsBy.MASS, beverage))
    return Learnt(shot, held, Pulled(setup, time=time, beverage=beverage, tds=strength))


def held_formula(formula: Formula, values: Values, station: Station) -> Formula:
    """The version's formula as this slot was really set: its settings in physical units again."""
    return formula | formula_set(values, traits_at(station))


def covered(found: Sequence[Learnt]) -> dict[str, tuple[Decimal, Decimal]]:
    """From what to what each parameter's target went over the shots."""
    targets: dict[str, list[Decimal]] = {}
    for each in found:
        for code, stated in each.formula.items():
            if stated.target is not None:
                targets.setdefault(code, []).append(stated.target)
    return {code: (min(said), max(said)) for code, said in targets.items()}


def ask_for_fit(*, by: User, station: Station, version: Version) -> ShotFit:
    """Have the model fitted to the station's shots under this version, by a worker.

    One that is under way already is given back instead of another. Raises NotPermitted, and
    Refused where there are too few shots to learn from.
    """
    site_id, subject = station.machine.site_id, Subject("station", station.pk, str(station))
    with recorded(by=by, action=history.FIT_ASKED, subject=subject, site_id=site_id):
        require(by, Verb.MODEL_FIT, site_id, subject)
        # Whoever asks at the same moment waits here, and then finds the other's.
        Station.objects.select_for_update(no_key=True).get(pk=station.pk)
        waiting = ShotFit.objects.waiting().filter(station=station, version=version).first()
        if waiting is not None:
            return waiting
        shots = learnable(station, version).count()
        if not version.content_digest or shots < FEWEST:
            raise Refused(
                f"{counted(shots, 'check shot')} of {version} at {station}:"
                f" it takes {FEWEST} to learn from.",
                how_to_ask="Log more check shots there first; 20 or more tell something.",
            )
        made = ShotFit.objects.create(station=station, version=version, by=by)
        transaction.on_commit(lambda: start(made.pk))
        return made


def start(fit_id: int) -> None:
    """Hand a fit to the workers, by name since their module imports this package."""
    current_app.send_task("recipes.tasks.run_fit", [fit_id])


# Running a fit: by one worker at a time, and again if that one is killed.
#
# The lock belongs to the transaction and writes nothing, so that history's sealing waits for no
# fit: a transaction gets its number with its first write, here in the last moment.

LOCKS = 0x5F17  # of this kind of work, among advisory locks
LEFT_LYING = timedelta(seconds=30)
REMEMBERED = 3600  # s


def run_fit(fit_id: int) -> bool:
    """Fit and keep the outcome; whether this call did. Another at the same time does nothing."""
    with transaction.atomic():
        if not _mine(fit_id):
            return False
        fit = ShotFit.objects.waiting().with_place().filter(pk=fit_id).first()
        if fit is None:
            return False
        return _finish(fit, **_outcome(fit))


def _mine(fit_id: int) -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s, %s)", [LOCKS, fit_id])
        return bool(cursor.fetchone()[0])


def _outcome(fit: ShotFit) -> dict[str, object]:
    """The fields that finishing sets."""
    try:
        found = learnt(fit.station, fit.version)
        if len(found) < FEWEST:  # shots may have been left out since it was asked for
            raise QuantityError("shots", len(found), f"{FEWEST} shots or more")
        kept = fitted(found, _noting_progress(fit.pk))
    except QuantityError as error:
        return {"state": ShotFit.State.IMPOSSIBLE, "why_not": f"{error.field}: {error.allowed}"}
    except (ArithmeticError, ValueError) as error:
        # An oddity of these shots would come back however often a worker tried.
        return {"state": ShotFit.State.IMPOSSIBLE, "why_not": f"No fit was found: {error}"}
    return {
        "state": ShotFit.State.DONE, "result": to_json(kept), "shots": len(found),
        "newest_shot": found[-1].shot,
    }  # fmt: skip


def fitted(found: list[Learnt], passed: Callable[[], None] = lambda: None) -> Kept:
    """Free what these shots can tell, and fit it. Raises QuantityError if they tell nothing."""
    shots = [each.pulled for each in found]
    names = tellable(shots, noise=NOISE)
    if not names:
        raise QuantityError("shots", len(shots), "shots that tell something about the puck")
    fit = fit_shots(shots, free=names, noise=NOISE, passed=passed)
    made = ends_of([fit.applied(shot.setup) for shot in shots])
    held = tuple(name for name in FREE if name not in names)
    assumed = setup_of(found[-1].formula).assumed
    ids = [each.shot.pk for each in found]
    return Kept(fit, held, _spread(shots, made), covered(found), ids, made, assumed)


def _spread(shots: list[Pulled], made: Floats) -> dict[str, float]:
    """Standard deviation of measured minus modelled, where two or more were measured."""
    found = {}
    for at, name in enumerate(ENDS):
        pairs = [(getattr(shot, name), made[row, at]) for row, shot in enumerate(shots)]
        off = [value - model for value, model in pairs if value is not None]
        if len(off) > 1:
            found[name] = float(np.sqrt(np.sum(np.square(off)) / (len(off) - 1)))
    return found


def _finish(fit: ShotFit, **fields: object) -> bool:
    place, site_id = fit.station, fit.station.machine.site_id
    subject = Subject("station", place.pk, str(place))
    with recorded(by=fit.by, action=history.FIT_RUN, subject=subject, site_id=site_id):
        rows = ShotFit.objects.waiting().filter(pk=fit.pk)
        return bool(rows.update(finished_at=timezone.now(), **fields))


def _noting_progress(fit_id: int) -> Callable[[], None]:
    passes = 0

    def passed() -> None:
        nonlocal passes
        passes += 1
        with suppress(OSError, RedisError):  # a page without a number is no reason to lose it
            cache.set(_key(fit_id), passes, REMEMBERED)

    return passed


def progress(fit: ShotFit) -> int:
    """How many passes the search has made, of PASSES at most; 0 before the first."""
    try:
        return min(int(cache.get(_key(fit.pk)) or 0), PASSES)
    except (OSError, RedisError):
        return 0


def _key(fit_id: int) -> str:
    return f"shot-fit:{fit_id}"


def left_lying() -> list[int]:
    """Fits whose worker was killed or whose message was lost."""
    return list(ShotFit.objects.left_lying(LEFT_LYING).values_list("pk", flat=True))
