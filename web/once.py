"""A page's form that is sent more than once is carried out once.

A tired hand taps three times while the line is slow. Every form carries a key made for the page it
stands on; the same key with the same content is one intention. The first request carries it out,
the others wait for it and are led where it led. What was changed after going back is another
intention, so the content counts with the key. As in web.idempotency the answer is stored in the
transaction of the action itself: either both stand or neither.
"""

import hashlib
import uuid
from collections.abc import Callable

from django.contrib import messages
from django.core import signing
from django.db import OperationalError, connection, transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.crypto import salted_hmac

from audit.errors import Refused
from web.models import IdempotencyKey

FIELD = "sent_once"
SALT = "web.once"
WAIT = "10s"  # for the first of several taps; a web process has few threads
DAY = 24 * 60 * 60  # seconds in which a page's key speaks for whoever it was made for
SEEN_TWICE = "This was sent more than once; it was done once."


class StillGoing(Refused):
    """The same was sent before and is not done yet: no answer to it so far."""


def key_for(person_id: int) -> str:
    """A new key for a page shown to that person."""
    return signing.TimestampSigner(salt=SALT).sign(f"{uuid.uuid4().hex}.{person_id}")


def person_of(key: str, age: int = DAY) -> int | None:
    """Whom the key was made for, within the last so many seconds; None for any other text.

    A page that a device kept has one key for all that is noted with it: the device tells its
    intentions apart after a ~, which proves nothing and needs no signature.
    """
    try:
        value = signing.TimestampSigner(salt=SALT).unsign(key.partition("~")[0], max_age=age)
    except signing.BadSignature:
        return None
    return int(value.partition(".")[2])


def once(request: HttpRequest, run: Callable[[], HttpResponse], age: int = DAY) -> HttpResponse:
    """Run a view for something sent, unless the same was sent before: then lead where that led.

    Only an answer that leads on is kept, or one marked `done`: a form that is shown again changed
    nothing. Without a key of this person's, not older than so many seconds, the view just runs.
    Raises StillGoing if the first one takes too long.
    """
    key, person = request.POST.get(FIELD, ""), request.user.pk
    if person is None or person_of(key, age) != person:
        return run()
    name = f"page:{_digest(request, key)}"
    with transaction.atomic():
        _one_at_a_time(name)
        kept = IdempotencyKey.objects.filter(user_id=person, key=name).first()
        if kept:
            messages.info(request, SEEN_TWICE)
            return redirect(kept.headers["Location"])
        response = run()
        if leads_to := vars(response).get("leads_to", response.get("Location", "")):
            _keep(person, name, leads_to)
        return response


def nothing_done(response: HttpResponse) -> HttpResponse:
    """Mark an answer that leads on although nothing was changed: it is not kept."""
    return done(response, "")


def done(response: HttpResponse, leads_to: str) -> HttpResponse:
    """Mark an answer that is a page of its own although something was changed: who sends the same
    again is led to that address."""
    vars(response)["leads_to"] = leads_to
    return response


def _digest(request: HttpRequest, key: str) -> str:
    """Of key, address and content, 64 hexadecimal digits. Keyed: the content may be a password."""
    told = salted_hmac(SALT, f"{key}\n{request.get_full_path()}", algorithm="sha256")
    for name, values in sorted(request.POST.lists()):
        if name not in (FIELD, "csrfmiddlewaretoken"):
            told.update(repr((name, values)).encode())
    for name, files in sorted(request.FILES.lists()):
        for file in files:
            told.update(repr((name, file.name)).encode())
            told.update(hashlib.file_digest(file, "sha256").digest())
            file.seek(0)
    return told.hexdigest()


def _one_at_a_time(name: str) -> None:
    """Wait for whoever carries the same out: a lock that every process sees, until the end of the
    transaction."""
    with connection.cursor() as cursor:
        try:
            cursor.execute("SELECT set_config('lock_timeout', %s, true)", [WAIT])
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [name])
            cursor.execute("SET LOCAL lock_timeout TO DEFAULT")
        except OperationalError as error:
            raise StillGoing(
                "This is still being carried out: wait a moment, then look whether it was done."
            ) from error


def _keep(person: int, name: str, leads_to: str) -> None:
    IdempotencyKey.objects.create(
        user_id=person,
        key=name,
        request_digest=name.removeprefix("page:"),
        status=302,
        headers={"Location": leads_to},
    )
