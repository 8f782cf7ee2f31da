"""Running a fit: by one worker at a time, and again if that one is killed.

The lock belongs to the transaction and writes nothing, so that history's sealing waits for no fit:
a transaction gets its number with its first write, here in the last moment.
"""

from collections.abc import Callable
from contextlib import suppress
from datetime import timedelta

import numpy as np
from django.core.cache import cache
from django.db import connection, transaction
from django.utils import timezone
from redis.exceptions import RedisError

from audit.context import recorded
from audit.subject import Subject
from recipes import history
from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.fit import FREE, PASSES, Pulled, fit_shots, tellable
from recipes.brewing.shot_model.reading import ENDS, ends_of
from recipes.foretelling import setup_of
from recipes.models import ShotFit
from recipes.shot_fits.learning import FEWEST, NOISE, Learnt, covered, learnt
from recipes.shot_fits.result import Kept, to_json

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
        "newest_shot": found[-1].shot.pk,
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
