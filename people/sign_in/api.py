"""Endpoints: ending somebody's sign-in, and allowing it again."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.api import PeopleView, person_answer
from people.persons.serializers import PersonOut
from people.sign_in.actions import deactivate_person, reactivate_person
from web.api import person
from web.etags import expected_revision, matching
from web.idempotency import acting


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
