"""Signing in to the API with a token; pages' sessions work there too, with their CSRF check."""

from datetime import timedelta
from typing import TYPE_CHECKING

from django.utils import timezone
from rest_framework.authentication import (
    BaseAuthentication,
    SessionAuthentication,
    get_authorization_header,
)
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from audit.capture.context import Channel, record_refusal
from audit.errors import NotPermitted, Subject
from people.confirming.lately import confirmed_lately, where_to_confirm
from people.persons.models import User
from people.tokens.models import ApiToken, Scope, digest_of
from web.access import ENDPOINT_REFUSED
from web.middleware import correct_channel

NOTED_EVERY = timedelta(hours=1)


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer <secret>`: found by the hash of the secret, never by the secret."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        """The owner and the token. Raises AuthenticationFailed (401) if it is not usable."""
        kind, _, secret = get_authorization_header(request).decode("latin-1").partition(" ")
        if kind.lower() != "bearer":
            return None
        token = ApiToken.objects.usable().filter(digest=digest_of(secret.strip())).first()
        if token is None:
            raise AuthenticationFailed("This token is unknown, revoked or expired.")
        _note_use(token)
        if token.scopes == [Scope.GATEWAY]:
            correct_channel(Channel.GATEWAY)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        """What a 401 answers in WWW-Authenticate."""
        return 'Bearer realm="api"'


class SignedInAuthentication(SessionAuthentication):
    """The session of somebody signed in to the pages; a change needs its CSRF token."""


def _note_use(token: ApiToken) -> None:
    now = timezone.now()
    if token.last_used_at is None or now - token.last_used_at > NOTED_EVERY:
        ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)


# What a token's scopes let a request do, before roles are even asked.

if TYPE_CHECKING:  # REST framework loads this module while it loads its views
    from rest_framework.views import APIView

READERS = frozenset({Scope.READ, Scope.ACT, Scope.SIGN})
ACTORS = frozenset({Scope.ACT, Scope.SIGN})


class ScopePermission(BasePermission):
    """Session users pass; a token needs the scope that the view and the method call for.

    A view says `scope = Scope.GATEWAY` (gateway endpoints: nothing else will do) or
    `acting_scope = Scope.SIGN` (its changes carry a signature); without, reading needs read, act
    or sign, and changing needs act or sign. What it says is done `in_person` no token changes,
    and a session only if its person confirmed lately that it is they.
    """

    def has_permission(self, request: Request, view: "APIView") -> bool:
        """Whether one of the token's scopes is among those needed. Raises NotPermitted.

        A program that tries more than it was given is worth a line of the history.
        """
        token = request.auth
        in_person = getattr(view, "in_person", False) and request.method not in SAFE_METHODS
        if not isinstance(token, ApiToken):
            if in_person and not confirmed_lately(request):
                raise _unconfirmed(request)
            return True
        if in_person:
            record_refusal(refused := _barred(token), by=token.user, action=ENDPOINT_REFUSED)
            raise refused
        needed = needed_scopes(request.method or "", view)
        if needed.isdisjoint(token.scopes):
            refused = _refusal(token, needed)
            record_refusal(refused, by=token.user, action=ENDPOINT_REFUSED)
            raise refused
        return True


def _barred(token: ApiToken) -> NotPermitted:
    return NotPermitted(
        "No token changes people, roles, tokens or policy, whatever its scopes.",
        who_may="A person signed in whose role allows it",
        how_to_ask="Sign in to the pages and do it there.",
        subject=Subject("token", token.pk, token.name),
    )


def _unconfirmed(request: Request) -> NotPermitted:
    return NotPermitted(
        "It was more than five minutes ago that you confirmed it is you.",
        who_may="Whoever is signed in here, once they have confirmed",
        how_to_ask=f"Confirm at {where_to_confirm(request)}, then send it again.",
    )


def _refusal(token: ApiToken, needed: frozenset[str]) -> NotPermitted:
    wanted = " or ".join(scope for scope in Scope.values if scope in needed)
    return NotPermitted(
        "This token's scopes do not allow that.",
        who_may=f"A token with the scope {wanted}",
        how_to_ask="Make another token on the page of your tokens.",
        subject=Subject("token", token.pk, token.name),
    )


def needed_scopes(method: str, view: "APIView") -> frozenset[str]:
    """The scopes any one of which is enough."""
    only: str | None = getattr(view, "scope", None)
    if only:
        return frozenset({only})
    if method in SAFE_METHODS:
        return READERS
    acting: str | None = getattr(view, "acting_scope", None)
    return frozenset({acting}) if acting else ACTORS
