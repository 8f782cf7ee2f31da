"""Endpoints: sessions; ending somebody's sign-in, and allowing it again."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.endpoint import Endpoint
from people.persons.api import PeopleView, person_answer
from people.persons.serializers import PersonOut
from people.persons.somebodys import WhyIn
from people.sign_in.access import access_of
from people.sign_in.actions import deactivate_person, reactivate_person
from people.sign_in.models import SignIn
from people.sign_in.sessions import end_session
from people.tokens.api import TokenOut
from web.api import person, valid
from web.etags import expected_revision, matching
from web.idempotency import acting
from web.lookup import one_or_404


class SessionOut(serializers.ModelSerializer[SignIn]):
    """A session: from when to when, by which way, and how it ended."""

    class Meta:
        model = SignIn
        fields = [
            "id", "way", "factor", "tablet", "address", "client", "begun_at", "seen_at", "ended_at",
            "end",
        ]  # fmt: skip


class FactorOut(serializers.Serializer[Any]):
    """A second factor or passkey, never what it holds."""

    kind = serializers.CharField()
    name = serializers.CharField(allow_blank=True)
    made_at = serializers.DateTimeField()
    used_at = serializers.DateTimeField(allow_null=True)


class AccessOut(serializers.Serializer[Any]):
    """Where somebody is signed in, the newest sessions that ended, and what lets them in."""

    live = SessionOut(many=True)
    ended = SessionOut(many=True)
    factors = FactorOut(many=True)
    pin_since = serializers.DateTimeField(source="pin.set_at", allow_null=True, default=None)
    tokens = TokenOut(many=True)


class OwnSessions(Endpoint):
    """One's own sessions, factors and tokens."""

    @extend_schema(responses=AccessOut)
    def get(self, request: Request) -> Response:
        """Where one is signed in, and what lets one in."""
        return Response(AccessOut(access_of(person(request))).data)


class SessionEnd(Endpoint):
    """The end of a session."""

    in_person = True

    @extend_schema(request=WhyIn, responses=SessionOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """End one's own, or as the owner anybody's, at once."""
        sessions = SignIn.objects.endable_by(person(request)).select_related("user")
        session = one_or_404(sessions, pk)
        end_session(by=person(request), session=session, **valid(WhyIn, request))
        session.refresh_from_db()
        return Response(SessionOut(session).data)


class Access(PeopleView):
    """Somebody's sessions, factors and tokens."""

    @extend_schema(responses=AccessOut)
    def get(self, request: Request, pk: int) -> Response:
        """Where they are signed in, and what lets them in."""
        return Response(AccessOut(access_of(self.someone(pk))).data)


class Deactivation(PeopleView):
    """End somebody's sign-in."""

    acting_everywhere = True

    @extend_schema(request=None, responses=PersonOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """End it, with all sessions and tokens."""
        someone = self.someone(pk)
        revision = expected_revision(request, someone)
        deactivate_person(by=person(request), person=someone, revision=revision)
        return person_answer(request, someone)


class Reactivation(PeopleView):
    """Allow somebody to sign in again."""

    acting_everywhere = True

    @extend_schema(request=None, responses=PersonOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Allow it, with the roles they had."""
        someone = self.someone(pk)
        revision = expected_revision(request, someone)
        reactivate_person(by=person(request), person=someone, revision=revision)
        return person_answer(request, someone)
