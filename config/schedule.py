"""What runs by itself, and how often. Each app's tasks are named here and nowhere else."""

from datetime import timedelta
from typing import TypedDict

from celery.schedules import crontab


class Beat(TypedDict, total=False):
    """One line of the schedule: the task's registered name and its rhythm."""

    task: str
    schedule: timedelta | crontab
    args: tuple[object, ...]
    options: dict[str, object]


BEAT_SCHEDULE: dict[str, Beat] = {
    # Often: a barista waits for it, and a killed worker's task comes back only after minutes.
    "publications that are due": {
        "task": "recipes.tasks.sweep",
        "schedule": timedelta(seconds=5),
        "options": {"expires": 5.0},
    },
    "permits whose time is over": {
        "task": "recipes.tasks.end_permits",
        "schedule": timedelta(seconds=15),
        "options": {"expires": 15.0},
    },
    "fits of the shot model that a worker left": {
        "task": "recipes.tasks.sweep_fits",
        "schedule": timedelta(seconds=30),
        "options": {"expires": 30.0},
    },
    # Often: until an entry is sealed, its change would not be found.
    "history that is not sealed yet": {
        "task": "audit.tasks.seal",
        "schedule": timedelta(seconds=3),
        "options": {"expires": 3.0},
    },
    # Often: an owner waits for it. It looks at one index of the few that are under way.
    "checks of the history that somebody asked for": {
        "task": "audit.tasks.take_up_checks",
        "schedule": timedelta(seconds=3),
        "options": {"expires": 3.0},
    },
    # Often: what no witness has seen, whoever has the key can still write anew. Without witnesses
    # it looks at a setting and returns.
    "the history's newest checkpoint, to its witnesses": {
        "task": "audit.tasks.offer_checkpoint",
        "schedule": timedelta(seconds=10),
        "options": {"expires": 10.0},
    },
    "history that sealing may have passed by": {
        "task": "audit.tasks.seal_beneath",
        "schedule": crontab(hour="2", minute="20"),
    },
    "the tables beside what the history says": {
        "task": "audit.tasks.reconcile_tonight",
        "schedule": crontab(hour="2", minute="50"),
    },
    # Often: a month's partition begins with the first entry after this. In all other runs it looks
    # at a name and returns.
    "a partition of the history for a new month": {
        "task": "audit.tasks.roll_month",
        "schedule": crontab(minute="*/5"),
        "options": {"expires": 240.0},
    },
    # Often: while a trigger is off, what is changed leaves no entry.
    "triggers that somebody switched off": {
        "task": "audit.tasks.look_at_guards",
        "schedule": timedelta(minutes=1),
        "options": {"expires": 60.0},
    },
    "the history's newest checkpoint, to people outside": {
        "task": "audit.tasks.mail_checkpoint",
        "schedule": crontab(hour="5", minute="0"),
    },
    "drift of check shots, all charts anew": {
        "task": "stations.tasks.note_drifts",
        "schedule": crontab(hour="3", minute="10"),
    },
    "what people hear of": {
        "task": "people.tasks.tell_people",
        "schedule": timedelta(seconds=30),
        "options": {"expires": 30.0},
    },
    "mail that waits": {
        "task": "people.tasks.send_mail",
        "schedule": timedelta(seconds=20),
        "options": {"expires": 20.0},
    },
    "devices that are to be told": {
        "task": "people.tasks.send_pushes",
        "schedule": timedelta(seconds=20),
        "options": {"expires": 20.0},
    },
    "answers kept for repetitions, and sessions, that are too old": {
        "task": "people.tasks.forget_what_is_old",
        "schedule": crontab(hour="3", minute="40"),
    },
}
