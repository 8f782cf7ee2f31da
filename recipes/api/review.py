"""Endpoints: the road of a version to its approval, and out of use."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.models import Scope
from people.verbs import Verb
from people.web.api import checked, listed, person, valid
from people.web.etags import expected_revision, matching
from people.web.idempotency import acting
from people.web.pages import one_or_404
from people.web.signing import note_signed
from recipes.actions.approval import approve
from recipes.actions.review import comment, return_to_author, submit, withdraw
from recipes.api.coffees import RecipeView
from recipes.api.serializers import (
    ApprovalIn,
    CommentIn,
    CommentOut,
    ReturnIn,
    VersionOut,
    WithdrawalIn,
)
from recipes.api.versions import all_versions, answer
from recipes.models import Version


class ActingView(RecipeView):
    """Does one thing to one version."""

    def version(self, pk: int) -> Version:
        """The version. Raises Http404."""
        found: Version = one_or_404(all_versions(), pk)
        return found


class Submission(ActingView):
    """Put a draft before a second person."""

    acting_verb = Verb.RECIPE_SUBMIT

    @extend_schema(request=None, responses=VersionOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Submit the draft as it was read."""
        found = self.version(pk)
        revision = expected_revision(request, found)
        return answer(request, submit(by=person(request), version=found, revision=revision))


class Return(ActingView):
    """Send a version back to its author."""

    acting_verb = Verb.RECIPE_RETURN

    @extend_schema(request=ReturnIn, responses=VersionOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Return it, as it was read, with comments."""
        found, body = self.version(pk), valid(ReturnIn, request)
        seen = expected_revision(request, found)
        now = return_to_author(by=person(request), version=found, revision=seen, **body)
        return answer(request, now)


class Approval(ActingView):
    """Sign a version."""

    acting_verb = Verb.RECIPE_APPROVE
    acting_scope = Scope.SIGN

    @extend_schema(request=ApprovalIn, responses=VersionOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Approve what was read; the recipe's approved version so far becomes superseded."""
        found, body = self.version(pk), checked(ApprovalIn, request)
        now = approve(
            by=person(request),
            version=found,
            credentials=body.credentials(request),
            seen_digest=body.validated_data["digest"],
        )
        note_signed(request)
        return answer(request, now)


class Withdrawal(ActingView):
    """Take a version out of use."""

    acting_verb = Verb.RECIPE_WITHDRAW

    @extend_schema(request=WithdrawalIn, responses=VersionOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Withdraw it as it was read, and why."""
        found, body = self.version(pk), valid(WithdrawalIn, request)
        seen = expected_revision(request, found)
        return answer(request, withdraw(by=person(request), version=found, revision=seen, **body))


class Comments(ActingView):
    """What was said about a version."""

    acting_verb = Verb.RECIPE_RETURN

    @extend_schema(responses=CommentOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List comments, newest first."""
        return listed(self, self.version(pk).comments.select_related("by"), CommentOut)

    @extend_schema(request=CommentIn, responses={201: CommentOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Comment on a version that is not approved yet."""
        found, body = self.version(pk), valid(CommentIn, request)
        made = comment(by=person(request), version=found, **body)
        return Response(CommentOut(made).data, status=201)
