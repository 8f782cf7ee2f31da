"""What runs by itself here. Every task may run twice, or die at any line, without harm."""

from celery import shared_task
from django.contrib.sessions.backends.db import SessionStore

from people.devices.actions import forget_left
from people.notices.devices_told import push_waiting
from people.notices.finding import find_matters
from people.notices.forgetting import forget_told
from people.notices.posting import post
from people.notices.telling import tell
from people.sign_in.sessions import note_expired
from people.tablets.tries import forget_old_tries
from web.idempotency import forget_old_keys
from web.lasting_cache import forget_ended


@shared_task
def forget_what_is_old() -> None:
    """Delete answers kept for repetitions and sessions past their time. Repeating does no harm."""
    forget_old_keys()
    SessionStore.clear_expired()
    note_expired()
    forget_old_tries()
    forget_told()
    forget_ended()


@shared_task(soft_time_limit=300)
def tell_people() -> int:
    """Find what is worth hearing of, and note who is told of it; how many notices that were."""
    find_matters()
    return tell()


@shared_task(soft_time_limit=300)
def send_mail() -> int:
    """Send the mail that waits; how many the server took."""
    return post()


@shared_task(soft_time_limit=120)
def send_pushes() -> int:
    """Tell devices what waits for them; how many messages arrived."""
    forget_left()
    return push_waiting()
