"""Asking for a fit: once at a time for a station and a version."""

from celery import current_app
from django.db import transaction

from audit.context import recorded
from audit.errors import Refused
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from recipes import history
from recipes.models import ShotFit, Version
from recipes.shot_fits.learning import FEWEST, learnable
from stations.models import Station


def ask_for_fit(*, station: Station, version: Version, by: User) -> ShotFit:
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
                f"{shots} check shot{'' if shots == 1 else 's'} of {version} at {station}:"
                f" it takes {FEWEST} to learn from.",
                how_to_ask="Log more check shots there first; 20 or more tell something.",
            )
        made = ShotFit.objects.create(station=station, version=version, by=by)
        transaction.on_commit(lambda: start(made.pk))
        return made


def start(fit_id: int) -> None:
    """Hand a fit to the workers, by name since their module imports this package."""
    current_app.send_task("recipes.tasks.run_fit", [fit_id])
