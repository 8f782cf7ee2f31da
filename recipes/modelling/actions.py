"""Asking for a fit, once at a time for a station and a version; and running it, by one worker."""

from collections.abc import Callable
from datetime import timedelta

from celery import current_app
from django.db import connection, transaction
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Refused, Subject
from audit.quick import quick
from audit.vocabulary import register as action
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.fit import PASSES
from recipes.modelling.fitting import FEWEST, fitted, learnable, learning_from, learnt
from recipes.modelling.models import ShotFit
from recipes.modelling.result import to_json
from recipes.versions.models import Version
from stations.equipment.models import Station
from web.printing import counted

FIT_ASKED = action("fit.asked", "Asked for a fit of the shot model")
FIT_RUN = action("fit.run", "Fitted the shot model")

LOCKS = 0x5F17  # of this kind of work, among advisory locks
LEFT_LYING = timedelta(seconds=30)
REMEMBERED = 3600  # s


def ask_for_fit(*, by: User, station: Station, version: Version) -> ShotFit:
    """Have the model fitted to the station's shots under this version, by a worker.

    One that is under way already is given back instead of another. Raises NotPermitted, and
    Refused where there are too few shots to learn from.
    """
    site_id, subject = station.machine.site_id, Subject("station", station.pk, str(station))
    with recorded(by=by, action=FIT_ASKED, subject=subject, site_id=site_id):
        require(by, Verb.MODEL_FIT, site_id, subject)
        # Whoever asks at the same moment waits here, and then finds the other's.
        Station.objects.select_for_update(no_key=True).get(pk=station.pk)
        waiting = ShotFit.objects.waiting().filter(station=station, version=version).first()
        if waiting is not None:
            return waiting
        shots = learnable(station, learning_from(version, station)).count()
        if not version.content_digest or shots < FEWEST:
            raise Refused(
                f"{counted(shots, 'check shot')} of {version} at {station}:"
                f" it takes {FEWEST} to learn from.",
                how_to_ask="Log more check shots there first; 20 or more tell something.",
            )
        made = ShotFit.objects.create(station=station, version=version, by=by)
        # robust: with the queue away it is asked for all the same, and the next sweep starts it.
        transaction.on_commit(lambda: start(made.pk), robust=True)
        return made


def start(fit_id: int) -> None:
    """Hand a fit to the workers, by name since their module imports this package."""
    current_app.send_task("recipes.tasks.run_fit", [fit_id])


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
    """Lock it for this transaction; whether nobody else has it.

    Such a lock writes nothing, so that history's sealing waits for no fit: a transaction gets its
    number with its first write, here in the last moment.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s, %s)", [LOCKS, fit_id])
        return bool(cursor.fetchone()[0])


def _outcome(fit: ShotFit) -> dict[str, object]:
    """The fields that finishing sets."""
    try:
        shots = learnt(fit.station, fit.version)
        if len(shots) < FEWEST:  # shots may have been left out since it was asked for
            raise QuantityError("shots", len(shots), f"{FEWEST} shots or more")
        kept = fitted(shots, _noting_progress(fit.pk))
    except QuantityError as error:
        return {"state": ShotFit.State.IMPOSSIBLE, "why_not": f"{error.field}: {error.allowed}"}
    except (ArithmeticError, ValueError) as error:
        # An oddity of these shots would come back however often a worker tried.
        return {"state": ShotFit.State.IMPOSSIBLE, "why_not": f"No fit was found: {error}"}
    return {
        "state": ShotFit.State.DONE, "result": to_json(kept), "shots": len(shots),
        "newest_shot": shots[-1].shot,
    }  # fmt: skip


def _finish(fit: ShotFit, **fields: object) -> bool:
    place, site_id = fit.station, fit.station.machine.site_id
    subject = Subject("station", place.pk, str(place))
    with recorded(by=fit.by, action=FIT_RUN, subject=subject, site_id=site_id):
        rows = ShotFit.objects.waiting().filter(pk=fit.pk)
        return bool(rows.update(finished_at=timezone.now(), **fields))


def _noting_progress(fit_id: int) -> Callable[[], None]:
    passes = 0

    def passed() -> None:
        nonlocal passes
        passes += 1
        quick.set(_key(fit_id), passes, REMEMBERED)

    return passed


def progress(fit: ShotFit) -> int:
    """How many passes the search has made, of PASSES at most; 0 before the first."""
    return min(int(quick.get(_key(fit.pk)) or 0), PASSES)


def _key(fit_id: int) -> str:
    return f"shot-fit:{fit_id}"


def left_lying() -> list[int]:
    """Fits whose worker was killed or whose message was lost."""
    return list(ShotFit.objects.left_lying(LEFT_LYING).values_list("pk", flat=True))
