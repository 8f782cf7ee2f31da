"""Endpoints: people and their roles."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from audit.endpoint import Endpoint
from people.persons.actions import (
    assign_role,
    change_person,
    create_person,
    remove_assignment,
)
from people.persons.invitations import invite
from people.persons.models import Assignment, User
from people.persons.permissions import may
from people.persons.serializers import (
    AssignmentIn,
    AssignmentOut,
    InvitationOut,
    MeOut,
    PersonIn,
    PersonOut,
)
from people.persons.verbs import Verb
from web.api import GuardedView, Listing, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting, acting_hiding
from web.lookup import one_or_404


class PeopleView(GuardedView):
    """Everything here is for those who manage people."""

    verb = Verb.PEOPLE_MANAGE
    in_person = True

    def someone(self, pk: int) -> User:
        """The person. Raises Http404."""
        return one_or_404(User.objects.prefetch_related("assignments__site"), pk)


def person_answer(request: Request, someone: User, status: int = 200) -> Response:
    """The person as they are now, with the tag."""
    fresh = User.objects.prefetch_related("assignments__site").get(pk=someone.pk)
    return tagged(request, fresh, PersonOut(fresh).data, status)


class People(PeopleView, Listing):
    """All people."""

    acting_everywhere = True

    @extend_schema(responses=PersonOut(many=True))
    def get(self, request: Request) -> Response:
        """List people, newest first."""
        return listed(self, User.objects.prefetch_related("assignments__site"), PersonOut)

    @extend_schema(request=PersonIn, responses={201: PersonOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a person."""
        body = valid(PersonIn, request)
        return person_answer(request, create_person(by=person(request), **body), 201)


class OnePerson(PeopleView):
    """One person."""

    acting_everywhere = True

    @extend_schema(responses=PersonOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a person."""
        return person_answer(request, self.someone(pk))

    @extend_schema(request=PersonIn, responses=PersonOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change name and address."""
        someone, body = self.someone(pk), valid(PersonIn, request)
        revision = expected_revision(request, someone)
        change_person(by=person(request), person=someone, revision=revision, **body)
        return person_answer(request, someone)


class Invitation(PeopleView):
    """A link to set a password."""

    acting_everywhere = True

    @extend_schema(request=None, responses={201: InvitationOut})
    @acting_hiding("link")
    def post(self, request: Request, pk: int) -> Response:
        """Mail and return a link that works once."""
        link = invite(
            by=person(request), person=self.someone(pk), absolute=request.build_absolute_uri
        )
        return Response({"link": link}, status=201)


class Assignments(PeopleView):
    """One person's roles."""

    @extend_schema(request=AssignmentIn, responses={201: AssignmentOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Give a role."""
        someone, body = self.someone(pk), valid(AssignmentIn, request)
        given = assign_role(
            by=person(request), person=someone, role=body["role"], site_id=body["site"]
        )
        return Response(AssignmentOut(given).data, status=201)


class OneAssignment(PeopleView):
    """One role of one person."""

    @extend_schema(responses={204: None})
    def delete(self, request: Request, pk: int, assignment: int) -> Response:
        """Take the role away."""
        given = one_or_404(Assignment.objects.of(self.someone(pk)), assignment)
        remove_assignment(by=person(request), assignment=given)
        return Response(status=204)


class Me(Endpoint):
    """Oneself."""

    @extend_schema(responses=MeOut)
    def get(self, request: Request) -> Response:
        """Who one is here, and what one may do somewhere."""
        me = person(request)
        shown = {
            "id": me.pk,
            "email": me.email,
            "name": me.name,
            "assignments": Assignment.objects.of(me),
            "verbs": [str(verb) for verb in Verb if may(me, verb)],
        }
        return Response(MeOut(shown).data)
