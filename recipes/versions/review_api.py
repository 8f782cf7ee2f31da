"""Endpoints: the way of a version to its approval, and out of use."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from people.tokens.models import Scope
from recipes.coffees.api import RecipeView
from recipes.versions.api import all_versions, answer
from recipes.versions.models import Version
from recipes.versions.review import approve, comment, return_to_author, submit, withdraw
from recipes.versions.serializers import (
    ApprovalIn,
    CommentIn,
    CommentOut,
    ReturnIn,
    SubmissionIn,
    VersionOut,
    WithdrawalIn,
)
from web.api import Listing, checked, listed, person, valid
from web.etags import expected_revision, matching
from web.idempotency import acting
from web.lookup import one_or_404


class ActingView(RecipeView):
    """Does one thing to one version."""

    def version(self, pk: int) -> Version:
        """The version. Raises Http404."""
        version: Version = one_or_404(all_versions(), pk)
        return version


class Submission(ActingView):
    """Put a draft before a second person."""

    acting_verb = Verb.RECIPE_SUBMIT

    @extend_schema(request=SubmissionIn, responses=VersionOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Submit the draft as it was read, with a reason for each question about it."""
        version, body = self.version(pk), valid(SubmissionIn, request)
        revision = expected_revision(request, version)
        now = submit(by=person(request), version=version, revision=revision, **body)
        return answer(request, now)


class Return(ActingView):
    """Send a version back to its author."""

    acting_verb = Verb.RECIPE_RETURN

    @extend_schema(request=ReturnIn, responses=VersionOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Return it, as it was read, with comments."""
        version, body = self.version(pk), valid(ReturnIn, request)
        seen = expected_revision(request, version)
        now = return_to_author(by=person(request), version=version, revision=seen, **body)
        return answer(request, now)


class Approval(ActingView):
    """Sign a version."""

    acting_verb = Verb.RECIPE_APPROVE
    acting_scope = Scope.SIGN

    @extend_schema(request=ApprovalIn, responses=VersionOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Approve what was read; the recipe's approved version so far becomes superseded."""
        version, body = self.version(pk), checked(ApprovalIn, request)
        now = approve(
            by=person(request),
            version=version,
            credentials=body.credentials(request),
            seen=body.validated_data["digest"],
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
        version, body = self.version(pk), valid(WithdrawalIn, request)
        seen = expected_revision(request, version)
        return answer(request, withdraw(by=person(request), version=version, revision=seen, **body))


class Comments(ActingView, Listing):
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
        version, body = self.version(pk), valid(CommentIn, request)
        made = comment(by=person(request), version=version, **body)
        return Response(CommentOut(made).data, status=201)
