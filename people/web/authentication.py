"""Signing in to the API with a token; pages' sessions work there too, with their CSRF check."""

from datetime import timedelta

from django.utils import timezone
from rest_framework.authentication import (
    BaseAuthentication,
    SessionAuthentication,
    get_authorization_header,
)
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from audit.context import Road
from people.models import ApiToken, Scope, User
from people.models.token import digest_of
from people.web.middleware import take_road

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
            take_road(Road.GATEWAY)
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
