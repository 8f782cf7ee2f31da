"""The workers' sign of life."""

from celery import shared_task
from django.core.cache import cache

ALIVE = "workers:alive"
BOUND = 45  # seconds without one, after which the health check says so


@shared_task
def sign_of_life() -> None:
    """That a worker takes up what is due. It ends by the database's clock, in which it is kept."""
    cache.set(ALIVE, 1, BOUND)


def workers_alive() -> bool:
    """Whether there was one lately."""
    return cache.get(ALIVE) is not None
