"""Keys for programs."""

import secrets
from collections.abc import Collection
from datetime import timedelta

from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Invalid, NotFound, NotPermitted, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require, require_everywhere
from people.persons.verbs import Verb
from people.tokens.models import ApiToken, Scope, digest_of
from web.text import one_line

TOKEN_MADE = register("token.made", "Made token")
TOKEN_REVOKED = register("token.revoked", "Revoked token")


PREFIX = "pl_"  # lets a secret that leaked into a log or a repository be recognised
MAX_DAYS = 366


# What a token of one scope can do, it can do as well through another that it makes.
WITHIN: dict[str, frozenset[str]] = {
    Scope.SIGN: frozenset(Scope.values),
    Scope.ACT: frozenset({Scope.READ, Scope.ACT, Scope.GATEWAY}),
}


def make_token(
    *, by: User, name: str, scopes: Collection[str], days: int, using: ApiToken | None = None
) -> tuple[ApiToken, str]:
    """A token of one's own and its secret, which is not kept: show it once.

    days: how long it stays usable, 1 to 366. Made with another token (`using`), it can do no more
    than that one and ends with it at the latest. Raises Invalid (name, scopes, days), NotPermitted.
    """
    with recorded(by=by, action=TOKEN_MADE):
        require(by, Verb.TOKEN_MAKE)
        secret = PREFIX + secrets.token_urlsafe(32)
        ends = timezone.now() + timedelta(days=_days(days))
        wanted = _scopes(scopes)
        if using:
            _require_within(using, wanted)
            ends = min(ends, using.expires_at)
        token = ApiToken(
            user=by,
            name=_name(name),
            scopes=wanted,
            expires_at=ends,
            digest=digest_of(secret),
            hint=secret[:9],
        )
        token.save(force_insert=True)
    return token, secret


def revoke_token(*, by: User, token: ApiToken) -> None:
    """End a token at once: one's own, or anybody's as the owner. Raises NotPermitted, NotFound."""
    subject = Subject("token", token.pk, token.name)
    with recorded(by=by, action=TOKEN_REVOKED, subject=subject):
        if token.user_id != by.pk:
            require_everywhere(by, Verb.PEOPLE_MANAGE, subject)
        if token.revoked_at:
            raise NotFound("This token has been revoked already.")
        compare_and_set(token, token.revision, revoked_at=timezone.now())


def _name(typed: str) -> str:
    name = " ".join(typed.split())
    if not one_line(name, 60):
        raise Invalid("name", typed, "1 to 60 printable characters")
    return name


def _scopes(asked: Collection[str]) -> list[str]:
    wanted = [scope for scope in Scope.values if scope in asked]
    if not wanted or set(asked) != set(wanted):
        raise Invalid("scopes", ", ".join(asked), "one or more of " + ", ".join(Scope.values))
    if Scope.GATEWAY in wanted and len(wanted) > 1:
        raise Invalid("scopes", ", ".join(asked), "gateway by itself: a gateway does nothing else")
    return wanted


def _require_within(using: ApiToken, wanted: Collection[str]) -> None:
    held = frozenset[str]().union(*(WITHIN.get(scope, frozenset()) for scope in using.scopes))
    if not held.issuperset(wanted):
        raise NotPermitted(
            f"The token this was asked with does not reach to {', '.join(wanted)}.",
            who_may="Its owner, signed in",
            how_to_ask="Make it on the page of your tokens.",
        )


def _days(typed: int) -> int:
    if not 1 <= typed <= MAX_DAYS:
        raise Invalid("days", typed, f"a whole number from 1 to {MAX_DAYS}")
    return typed
