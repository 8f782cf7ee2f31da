"""The Celery application; tasks live in each app's tasks.py."""

import gc
import os

from celery import Celery
from celery.signals import worker_process_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("portaledger")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_process_init.connect
def keep_what_is_loaded(**_: object) -> None:
    """It stays, so no collection need look through it again: in bulk that is half the time."""
    gc.freeze()
