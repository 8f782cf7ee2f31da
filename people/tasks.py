"""What runs by itself here."""

from celery import shared_task
from django.contrib.sessions.backends.db import SessionStore

from people.sign_in.sessions import note_expired
from people.tablets.tries import forget_old_tries
from web.idempotency import forget_old_keys


@shared_task
def forget_what_is_old() -> None:
    """Delete answers kept for repetitions and sessions past their time. Repeating does no harm."""
    forget_old_keys()
    SessionStore.clear_expired()
    note_expired()
    forget_old_tries()
