"""What runs by itself, and how often. Each app's tasks are named here and nowhere else."""

from datetime import timedelta
from typing import TypedDict

from celery.schedules import crontab


class Beat(TypedDict):
    """One line of the schedule: the task's registered name and its rhythm."""

    task: str
    schedule: timedelta | crontab


def _often(task: str, *, seconds: float) -> Beat:
    """So often; while one waits for a worker no other is sent (config.beat)."""
    return {"task": task, "schedule": timedelta(seconds=seconds)}


def _nightly(task: str, hour: int, minute: int) -> Beat:
    """Once a day at this time (UTC)."""
    return {"task": task, "schedule": crontab(hour=str(hour), minute=str(minute))}


# What takes minutes or waits for servers outside, kept apart from what somebody waits for.
LONG = frozenset(
    {
        "recipes.tasks.run_fit",
        "audit.tasks.offer_checkpoint",
        "audit.tasks.seal_beneath",
        "audit.tasks.reconcile_tonight",
        "audit.tasks.run_check",
        "audit.tasks.run_reconciliation",
        "audit.tasks.mail_checkpoint",
        "people.tasks.tell_people",
        "people.tasks.send_mail",
        "people.tasks.send_pushes",
        "people.tasks.forget_what_is_old",
        "stations.tasks.note_drifts",
        "stations.tasks.look_for_causes",
    }
)

BEAT_SCHEDULE: dict[str, Beat] = {
    "the workers' sign of life": _often("web.tasks.sign_of_life", seconds=10),
    # A barista waits for it, and a killed worker's task comes back only after minutes.
    "publications that are due": _often("recipes.tasks.sweep", seconds=5),
    "permits whose time is over": _often("recipes.tasks.end_permits", seconds=15),
    "fits of the shot model that a worker left": _often("recipes.tasks.sweep_fits", seconds=30),
    # Until an entry is sealed, its change would not be found.
    "history that is not sealed yet": _often("audit.tasks.seal", seconds=3),
    # An owner waits for it. It looks at one index of the few that are under way.
    "checks of the history that somebody asked for": _often(
        "audit.tasks.take_up_checks", seconds=3
    ),
    # What no witness has seen, whoever has the key can still write anew. Without witnesses it
    # looks at a setting and returns.
    "the history's newest checkpoint, to its witnesses": _often(
        "audit.tasks.offer_checkpoint", seconds=10
    ),
    # While a trigger is off, what is changed leaves no entry.
    "triggers that somebody switched off": _often("audit.tasks.look_at_guards", seconds=60),
    # A month's partition begins with the first entry after this. In all other runs it looks at a
    # name and returns.
    "a partition of the history for a new month": {
        "task": "audit.tasks.roll_month",
        "schedule": crontab(minute="*/5"),
    },
    "causes of drift, in shots that came in": _often("stations.tasks.look_for_causes", seconds=60),
    "what people hear of": _often("people.tasks.tell_people", seconds=30),
    "mail that waits": _often("people.tasks.send_mail", seconds=20),
    "devices that are to be told": _often("people.tasks.send_pushes", seconds=20),
    "history that sealing may have passed by": _nightly("audit.tasks.seal_beneath", 2, 20),
    "the tables beside what the history says": _nightly("audit.tasks.reconcile_tonight", 2, 50),
    "drift of check shots, all charts anew": _nightly("stations.tasks.note_drifts", 3, 10),
    "answers kept for repetitions, and sessions, that are too old": _nightly(
        "people.tasks.forget_what_is_old", 3, 40
    ),
    "the history's newest checkpoint, to people outside": _nightly(
        "audit.tasks.mail_checkpoint", 5, 0
    ),
}
