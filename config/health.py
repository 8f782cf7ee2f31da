"""Whether this process lives, whether it can do its work, and whether all of the product does.

Three questions with three askers: what restarts a process asks `/livez`, what sends people to it
`/readyz`, and whoever watches over the whole `/healthz`. A worker that hangs is a matter of the
last alone: no restart of a web process mends it, and people go on without it.
"""

from collections.abc import Callable, Mapping, Sequence

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
from web.tasks import BOUND, workers_alive


@never_cache
@require_safe
def livez(request: HttpRequest) -> HttpResponse:
    """200 as long as this process answers at all: it asks nothing of anybody."""
    return HttpResponse("ok\n", content_type="text/plain")


@never_cache
@require_safe
def readyz(request: HttpRequest) -> HttpResponse:
    """200 when the database answers, else 503: without it nothing can be shown or done here."""
    return _said(_silent({"database": _database}))


@never_cache
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """200 when database, broker and workers answer, else 503 naming what did not.

    That sealing has stopped is a second line and no failure: the bars go on. What does not fit is
    for those who may sign in.
    """
    parts = {"database": _database, "broker": _broker, f"workers (for {BOUND} s)": _workers}
    silent = _silent(parts)
    if "database" in silent:
        return _said(silent)
    more = "attention: the history is not sealed any more\n" if _stopped() else ""
    return _said(silent, more + _told(request))


def _silent(parts: Mapping[str, Callable[[], bool]]) -> list[str]:
    return [name for name, answers in parts.items() if not answers()]


def _said(silent: Sequence[str], more: str = "") -> HttpResponse:
    text = f"no answer: {', '.join(silent)}\n" if silent else "ok\n"
    return HttpResponse(text + more, content_type="text/plain", status=503 if silent else 200)


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


def _workers() -> bool:
    """Not known, and so not said, where the database can't tell."""
    try:
        return workers_alive()
    except DatabaseError:
        return True
