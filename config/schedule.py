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


BEAT_SCHEDULE: dict[str, Beat] = {}
