"""Whether this process can do its work: asked by health checks and load balancers."""

from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from redis import Redis, RedisError

from audit.alarms import alarms
from audit.sealing.stops import stopped_now
from people.persons.models import User
from people.persons.permissions import may_everywhere
from people.persons.verbs import Verb
from web.answering import watch


@never_cache
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """200 when the database and the broker answer, else 503 naming the one that did not.

    That sealing has stopped is a second line and no failure: the bars go on. What does not fit is
    for those who may sign in.
    """
    parts = {"database": _database, "broker": _broker}
    failing = [name for name, works in parts.items() if not works()]
    if failing:
        text = f"no answer: {', '.join(failing)}\n"
        return HttpResponse(text, content_type="text/plain", status=503)
    text = "ok\nattention: the history is not sealed any more\n" if _stopped() else "ok\n"
    return HttpResponse(text + _told(request), content_type="text/plain")


def _stopped() -> bool:
    try:
        return bool(stopped_now())
    except DatabaseError:  # not migrated yet
        return False


def _told(request: HttpRequest) -> str:
    """What an owner has to know besides; nobody else is told.

    The process does its work all the same, so nothing that asks for that alone takes it away.
    """
    user = request.user
    if not isinstance(user, User) or not may_everywhere(user, Verb.HISTORY_VIEW):
        return ""
    return "".join(f"alarm: {alarm.words}\n" for alarm in alarms())


def _database() -> bool:
    if watch.away():
        return False
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return False
    return True


def _broker() -> bool:
    address: str = settings.REDIS_URL
    try:
        with Redis.from_url(address, socket_timeout=1, socket_connect_timeout=1) as broker:
            return bool(broker.ping())
    except RedisError:
        return False
