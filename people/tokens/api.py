"""Endpoints: one's own tokens; their end, and that of somebody else's."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.somebodys import WhyIn
from people.persons.verbs import Verb
from people.tokens.actions import make_token, revoke_token
from people.tokens.models import ApiToken, Scope
from web.api import GuardedView, Listing, listed, person, valid
from web.idempotency import acting, acting_hiding
from web.lookup import one_or_404


class TokenOut(serializers.ModelSerializer[ApiToken]):
    """A token, without its secret."""

    state = serializers.CharField(read_only=True)

    class Meta:
        model = ApiToken
        fields = [
            "id",
            "name",
            "hint",
            "scopes",
            "state",
            "created_at",
            "expires_at",
            "revoked_at",
            "last_used_at",
        ]


class NewTokenOut(TokenOut):
    """A token just made, with the secret that is shown this once."""

    secret = serializers.CharField(read_only=True)

    class Meta(TokenOut.Meta):
        fields = [*TokenOut.Meta.fields, "secret"]


class TokenIn(serializers.Serializer[dict[str, Any]]):
    """A token to make."""

    name = serializers.CharField(max_length=60)
    scopes = serializers.ListField(
        child=serializers.ChoiceField(choices=Scope.choices), min_length=1, max_length=4
    )
    days = serializers.IntegerField(min_value=1, max_value=366, default=90)


class Tokens(Listing):
    """One's own tokens."""

    verb = Verb.TOKEN_MAKE
    in_person = True

    @extend_schema(responses=TokenOut(many=True))
    def get(self, request: Request) -> Response:
        """List them, newest first."""
        return listed(self, ApiToken.objects.filter(user=person(request)), TokenOut)

    @extend_schema(request=TokenIn, responses={201: NewTokenOut})
    @acting_hiding("secret")
    def post(self, request: Request) -> Response:
        """Make one. Its secret is in this answer and in no other, not even a repeated one."""
        token, secret = make_token(by=person(request), **valid(TokenIn, request))
        token.refresh_from_db()
        token.secret = secret  # type: ignore[attr-defined]
        return Response(NewTokenOut(token).data, status=201)


class Revocation(GuardedView):
    """The end of a token."""

    verb = Verb.TOKEN_MAKE
    in_person = True

    @extend_schema(request=WhyIn, responses=TokenOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Revoke one's own, or as the owner anybody's, at once."""
        token = one_or_404(ApiToken.objects.revocable_by(person(request)), pk)
        revoke_token(by=person(request), token=token, **valid(WhyIn, request))
        token.refresh_from_db()
        return Response(TokenOut(token).data)
