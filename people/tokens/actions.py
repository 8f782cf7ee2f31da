"""Keys for programs."""

import secrets
from collections.abc import Collection
from datetime import timedelta

from django.db.models import F, QuerySet
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Invalid, NotFound, Subject
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.somebodys import require_over, require_why
from people.persons.verbs import Verb
from people.tokens.models import ApiToken, Scope, digest_of
from web.text import line_of

TOKEN_MADE = register("token.made", "Made token")
TOKEN_REVOKED = register("token.revoked", "Revoked token")


PREFIX = "pl_"  # lets a secret that leaked into a log or a repository be recognised
MAX_DAYS = 366


def make_token(*, by: User, name: str, scopes: Collection[str], days: int) -> tuple[ApiToken, str]:
    """A token of one's own and its secret, which is not kept: show it once.

    days: how long it stays usable, 1 to 366. Raises Invalid (name, scopes, days), NotPermitted.
    """
    with recorded(by=by, action=TOKEN_MADE):
        require(by, Verb.TOKEN_MAKE)
        secret = PREFIX + secrets.token_urlsafe(32)
        token = ApiToken(
            user=by,
            name=line_of("name", name, 60),
            scopes=_scopes(scopes),
            expires_at=timezone.now() + timedelta(days=_days(days)),
            digest=digest_of(secret),
            hint=secret[:9],
        )
        token.save(force_insert=True)
    return token, secret


def revoke_token(*, by: User, token: ApiToken, reason: str = "") -> None:
    """End one of one's own tokens at once, or as the owner anybody's, saying why.

    Raises NotPermitted, Invalid (reason), and NotFound if it has been revoked meanwhile.
    """
    subject = Subject("token", token.pk, token.name)
    with recorded(by=by, action=TOKEN_REVOKED, reason=reason, subject=subject):
        require_over(by, token.user_id, "revoke a token", subject)
        require_why(by, token.user_id, reason)
        if not _revoke(ApiToken.objects.filter(pk=token.pk)):
            raise NotFound("This token has been revoked already.")


def revoke_all(*, person: User, reason: str) -> None:
    """End all of somebody's tokens at once, inside the action that is the cause of it."""
    with recorded(by=person, action=TOKEN_REVOKED, reason=reason):
        _revoke(ApiToken.objects.filter(user=person))


def _revoke(tokens: QuerySet[ApiToken]) -> int:
    """Those that nobody revoked before; of two who try, one does."""
    valid = tokens.filter(revoked_at=None)
    return valid.update(revoked_at=timezone.now(), revision=F("revision") + 1)


def _scopes(asked: Collection[str]) -> list[str]:
    wanted = [scope for scope in Scope.values if scope in asked]
    if not wanted or set(asked) != set(wanted):
        raise Invalid("scopes", ", ".join(asked), "one or more of " + ", ".join(Scope.values))
    if Scope.GATEWAY in wanted and len(wanted) > 1:
        raise Invalid("scopes", ", ".join(asked), "gateway by itself: a gateway does nothing else")
    return wanted


def _days(typed: int) -> int:
    if not 1 <= typed <= MAX_DAYS:
        raise Invalid("days", typed, f"a whole number from 1 to {MAX_DAYS}")
    return typed
