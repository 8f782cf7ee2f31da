"""Endpoints: what is decided about change requests."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.verbs import Verb
from people.web.api import person, valid
from people.web.etags import expected_revision, matching, tagged
from people.web.idempotency import acting
from people.web.pages import one_or_404
from recipes.actions.decisions import accept, ask_back, decline
from recipes.actions.rebasing import rebase
from recipes.api.coffees import RecipeView
from recipes.api.fields import shown
from recipes.api.request_serializers import (
    AcceptIn,
    RebaseIn,
    RequestOut,
    ThreeSidesOut,
    WordsIn,
)
from recipes.api.requests import answer, seen_requests
from recipes.api.serializers import VersionOut
from recipes.api.versions import all_versions
from recipes.api.versions import answer as version_answer
from recipes.formula import Entry
from recipes.models import ChangeRequest
from recipes.rebasing import Sides, three_sides


class RequestView(RecipeView):
    """Does one thing to one request."""

    def change(self, request: Request, pk: int) -> ChangeRequest:
        """The request, if this person may see it. Raises Http404."""
        return one_or_404(seen_requests(request), pk)


class Acceptance(RequestView):
    """Accept a request."""

    acting_verb = Verb.REQUEST_DECIDE

    @extend_schema(request=AcceptIn, responses={201: VersionOut})
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Draft the next version with the proposals; answers with the draft."""
        change, body = self.change(request, pk), valid(AcceptIn, request)
        revision = expected_revision(request, change)
        draft = accept(by=person(request), request=change, revision=revision, **body)
        return version_answer(request, draft, 201)


class Declining(RequestView):
    """Decline a request."""

    acting_verb = Verb.REQUEST_DECIDE

    @extend_schema(request=WordsIn, responses=RequestOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Say no, and why."""
        change, body = self.change(request, pk), valid(WordsIn, request)
        revision = expected_revision(request, change)
        now = decline(by=person(request), request=change, revision=revision, **body)
        return answer(request, now)


class AskingBack(RequestView):
    """Put a question to the author."""

    acting_verb = Verb.REQUEST_DECIDE

    @extend_schema(request=WordsIn, responses=RequestOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Ask, before deciding."""
        change, body = self.change(request, pk), valid(WordsIn, request)
        revision = expected_revision(request, change)
        now = ask_back(by=person(request), request=change, revision=revision, **body)
        return answer(request, now)


class Rebase(RequestView):
    """Put a request against the version approved meanwhile."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(responses=ThreeSidesOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read the three sides: base, proposal, current version."""
        change = self.change(request, pk)
        current = all_versions().approved().filter(recipe=change.base.recipe_id).first()
        lines = three_sides(change, current) if current else []
        said = {"base": change.base_id, "current": current.pk if current else None}
        return tagged(request, change, {**said, "sides": [_sides(line) for line in lines]})

    @extend_schema(request=RebaseIn, responses=RequestOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Choose for each parameter that both sides changed, by the three sides as read."""
        change, body = self.change(request, pk), valid(RebaseIn, request)
        now = rebase(
            by=person(request),
            request=change,
            choices=body["choices"],
            revision=expected_revision(request, change),
            seen_current=body["current"],
        )
        return answer(request, now)


def _sides(line: Sides) -> dict[str, object]:
    sides = {"base": line.base, "proposed": line.proposed, "current": line.current}
    said = {
        name: shown({line.code: entry})[line.code] if entry and entry != Entry() else None
        for name, entry in sides.items()
    }
    return {"code": line.code, **said, "needs_choice": line.needs_choice}
