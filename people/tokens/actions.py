"""Keys for programs."""

import secrets
from collections.abc import Collection
from datetime import timedelta

from django.db.models import F
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Invalid, NotFound, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require, require_everywhere
from people.persons.standing import require_in_full
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


def revoke_token(*, by: User, token: ApiToken) -> None:
    """End a token at once: one's own, or anybody's as the owner. Raises NotPermitted, NotFound."""
    subject = Subject("token", token.pk, token.name)
    with recorded(by=by, action=TOKEN_REVOKED, subject=subject):
        require_in_full(by, "revoke a token", subject)
        if token.user_id != by.pk:
            require_everywhere(by, Verb.PEOPLE_MANAGE, subject)
        if token.revoked_at:
            raise NotFound("This token has been revoked already.")
        compare_and_set(token, token.revision, revoked_at=timezone.now())


def revoke_all(*, person: User, reason: str) -> None:
    """End all of somebody's tokens at once, inside the action that is the cause of it."""
    with recorded(by=person, action=TOKEN_REVOKED, reason=reason):
        valid = ApiToken.objects.filter(user=person, revoked_at=None)
        valid.update(revoked_at=timezone.now(), revision=F("revision") + 1)


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
