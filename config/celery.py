"""The Celery application; tasks live in each app's tasks.py."""

import gc
import os
from typing import Any

from celery import Celery
from celery.signals import task_prerun, worker_process_init

from audit.queueing import unmark

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

BRIEF = {"socket_timeout": 1, "socket_connect_timeout": 1, "retry_on_timeout": False}


class Queue(Celery):
    """The queue: who reads from it may wait long, who writes to it has somebody waiting."""

    def connection_for_write(self, url: str | None = None, **told: Any) -> Any:  # noqa: ANN401
        """As Celery's, with an end to its patience."""
        options = {**BRIEF, **(told.pop("transport_options", None) or {})}
        return super().connection_for_write(url, transport_options=options, **told)


app = Queue("portaledger")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@task_prerun.connect
def taken_up(task: Any, args: tuple[int, ...], **_: object) -> None:  # noqa: ANN401
    """It waits no more, so the same may be sent again."""
    unmark(task.name, args)


@worker_process_init.connect
def keep_what_is_loaded(**_: object) -> None:
    """It stays, so no collection need look through it again: in bulk that is half the time."""
    gc.freeze()
