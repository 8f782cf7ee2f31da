"""A repeated acting request is answered again, not carried out again.

After the IETF draft "The Idempotency-Key HTTP Header Field". The answer is stored in the
transaction of the action itself, so either both stand or neither: a process killed half-way
leaves the key unused and the request may simply be sent again.
"""

import hashlib
import json
import re
from collections.abc import Callable, Collection
from datetime import timedelta
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone
from rest_framework import exceptions, status
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from web.models import IdempotencyKey

KEY = re.compile(r"[A-Za-z0-9._~:+/=-]{8,100}")
KEPT_HEADERS = ("ETag", "Location")
P = ParamSpec("P")
View = TypeVar("View", bound=APIView)
Handler = Callable[Concatenate[View, Request, P], Response]


class KeyMissing(exceptions.ParseError):
    """An acting request without a usable key."""

    default_detail = (
        "Send an Idempotency-Key header, 8 to 100 letters, digits or . _ ~ : + / = - that are new "
        "for each thing you want done, and the same when you repeat it."
    )


class KeyReused(exceptions.APIException):
    """The same key with another request."""

    status_code = status.HTTP_422_UNPROCESSABLE_ENTITY
    default_detail = "This Idempotency-Key was used for a different request: send a new one."


class KeyInUse(exceptions.APIException):
    """The first request with this key has not been answered yet."""

    status_code = status.HTTP_409_CONFLICT
    default_detail = "The first request with this Idempotency-Key is still being carried out."


def acting_hiding(
    *secrets: str,
) -> Callable[[Handler[View, P]], Handler[View, P]]:
    """As acting, for answers with secrets: those fields are not kept, a repetition has null."""

    def decorate(handler: Handler[View, P]) -> Handler[View, P]:
        @wraps(handler)
        def wrapped(self: View, request: Request, /, *args: P.args, **kwargs: P.kwargs) -> Response:
            key = _key(request)
            with transaction.atomic():
                _only_one_at_a_time(request, key)
                kept = IdempotencyKey.objects.filter(user_id=_who(request), key=key).first()
                if kept:
                    return _again(kept, _digest(request))
                return _keep(request, key, handler(self, request, *args, **kwargs), secrets)

        wrapped.needs_key = True  # type: ignore[attr-defined]  # for the OpenAPI description
        return wrapped

    return decorate


def acting(handler: Handler[View, P]) -> Handler[View, P]:
    """For a view's `post`: needs the key, repeats the stored answer, keeps successful ones only.

    A refused or invalid attempt changed nothing, so its key stays free to be used again.
    """
    keep_all: Callable[[Handler[View, P]], Handler[View, P]] = acting_hiding()
    return keep_all(handler)


def forget_old_keys() -> int:
    """Delete the keys older than IDEMPOTENCY_KEY_DAYS; how many went."""
    limit = timezone.now() - timedelta(days=settings.IDEMPOTENCY_KEY_DAYS)
    return IdempotencyKey.objects.filter(created_at__lt=limit).delete()[0]


def _who(request: Request) -> int:
    """Keys are each person's own: nobody can be answered with what another did."""
    if request.user.pk is None:
        raise exceptions.NotAuthenticated
    return request.user.pk


def _key(request: Request) -> str:
    key = request.headers.get("Idempotency-Key", "").strip().strip('"')
    if not KEY.fullmatch(key):
        raise KeyMissing
    return key


def _digest(request: Request) -> str:
    parts = [request.method or "", request.get_full_path()]
    parts.append(json.dumps(request.data, sort_keys=True, default=str))
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _only_one_at_a_time(request: Request, key: str) -> None:
    """A lock in the database that ends with the transaction: every process sees it."""
    name = f"idempotency:{_who(request)}:{key}"
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(hashtextextended(%s, 0))", [name])
        if not cursor.fetchone()[0]:
            raise KeyInUse


def _keep(request: Request, key: str, response: Response, secrets: Collection[str]) -> Response:
    if response.status_code < 300:
        shown = response.data
        if secrets:
            shown = {name: None if name in secrets else v for name, v in shown.items()}
        IdempotencyKey.objects.create(
            user_id=_who(request),
            key=key,
            request_digest=_digest(request),
            status=response.status_code,
            body="" if shown is None else JSONRenderer().render(shown).decode(),
            headers={name: response[name] for name in KEPT_HEADERS if name in response},
        )
    return response


def _again(kept: IdempotencyKey, digest: str) -> Response:
    if kept.request_digest != digest:
        raise KeyReused
    data = json.loads(kept.body) if kept.body else None
    return Response(data, status=kept.status, headers={**kept.headers, "Idempotent-Replay": "true"})
