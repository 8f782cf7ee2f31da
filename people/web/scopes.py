"""What a token's scopes let a request do, before roles are even asked."""

from typing import TYPE_CHECKING

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from people.models import ApiToken, Scope

if TYPE_CHECKING:  # REST framework loads this module while it loads its views
    from rest_framework.views import APIView

READERS = frozenset({Scope.READ, Scope.ACT, Scope.SIGN})
ACTORS = frozenset({Scope.ACT, Scope.SIGN})


class ScopePermission(BasePermission):
    """Session users pass; a token needs the scope that the view and the method call for.

    A view says `scope = Scope.GATEWAY` (gateway endpoints: nothing else will do) or
    `acting_scope = Scope.SIGN` (its changes carry a signature); without, reading needs read, act
    or sign, and changing needs act or sign.
    """

    message = "This token's scopes do not allow that."

    def has_permission(self, request: Request, view: "APIView") -> bool:
        """Whether one of the token's scopes is among those needed."""
        token = request.auth
        if not isinstance(token, ApiToken):
            return True
        return not needed_scopes(request.method or "", view).isdisjoint(token.scopes)


def needed_scopes(method: str, view: "APIView") -> frozenset[str]:
    """The scopes any one of which is enough."""
    only: str | None = getattr(view, "scope", None)
    if only:
        return frozenset({only})
    if method in SAFE_METHODS:
        return READERS
    acting: str | None = getattr(view, "acting_scope", None)
    return frozenset({acting}) if acting else ACTORS
