"""What runs by itself here."""

from celery import shared_task
from django.contrib.sessions.backends.db import SessionStore

from web.idempotency import forget_old_keys


@shared_task
def forget_what_is_old() -> None:
    """Delete answers kept for repetitions and sessions past their time; repeating does no harm."""
    forget_old_keys()
    SessionStore.clear_expired()
