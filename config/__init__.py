"""Wires everything: settings, addresses, tasks, and the services of the default run."""

from config.celery import app as celery_app

__all__ = ["celery_app"]
