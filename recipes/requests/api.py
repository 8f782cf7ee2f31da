"""Endpoints: change requests."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from recipes.coffees.api import RecipeView
from recipes.formula.sides import ChoicesIn, ThreeSidesOut, sides_out
from recipes.requests.actions import change_request, make_request, must_be_own, take_back
from recipes.requests.answered import see_answer
from recipes.requests.decisions import accept, ask_back, decline
from recipes.requests.evidence import NAMES, Attached, held_by
from recipes.requests.models import ChangeRequest
from recipes.requests.rebasing import SidesSeen, rebase, three_sides
from recipes.requests.serializers import (
    AcceptIn,
    RequestChange,
    RequestFilter,
    RequestIn,
    RequestOut,
    WordsIn,
)
from recipes.versions.api import all_versions
from recipes.versions.api import answer as version_answer
from recipes.versions.serializers import VersionOut
from stations.equipment.models import Site
from web.access import noting_refusal
from web.api import Listing, asked, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting
from web.lookup import named, one_or_404


def seen_requests(request: Request) -> QuerySet[ChangeRequest]:
    """Requests of sites this person may see, with all that an answer holds."""
    rows = ChangeRequest.objects.covered_by(person(request)).with_base().select_related("permit")
    return rows.prefetch_related("proposals", "resulting_versions", "attached", "slots")


def answer(request: Request, change: ChangeRequest, status: int = 200) -> Response:
    """The request as it is now, with its tag."""
    fresh = seen_requests(request).get(pk=change.pk)
    return tagged(request, fresh, RequestOut(fresh).data, status)


class Requests(RecipeView, Listing):
    """Change requests of the sites one may see."""

    acting_verb = Verb.REQUEST_MAKE
    query = RequestFilter

    @extend_schema(responses=RequestOut(many=True))
    def get(self, request: Request) -> Response:
        """List change requests, newest first."""
        wanted = asked(RequestFilter, request)
        if "recipe" in wanted:
            wanted["base__recipe"] = wanted.pop("recipe")
        return listed(self, seen_requests(request).filter(**wanted), RequestOut)

    @extend_schema(request=RequestIn, responses={201: RequestOut})
    @acting
    def post(self, request: Request) -> Response:
        """Ask for other values than the approved version's."""
        body, who = valid(RequestIn, request), person(request)
        pk, code = body.pop("base"), body.pop("site")
        base = named(all_versions(), "base", pk, "the id of an approved version", pk=pk)
        # A site somebody may not ask for is refused by the action; one they may not even see
        # does not exist for them.
        sites = Site.objects.covered_by(who, Verb.RECIPE_VIEW)
        site = named(sites, "site", code, "the code of a site of yours", code=code)
        return answer(
            request,
            make_request(by=who, base=base, site=site, **attached_of(body, Attached())),
            201,
        )


class OneRequest(RecipeView):
    """One change request."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(responses=RequestOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a change request."""
        change = one_or_404(seen_requests(request), pk)
        return tagged(request, change, RequestOut(change).data)

    @extend_schema(request=RequestChange, responses=RequestOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change one's own request; one that was asked back opens again."""
        change = one_or_404(seen_requests(request), pk)
        with noting_refusal(request):
            must_be_own(change, person(request))
        body = valid(RequestChange, request)
        revision = expected_revision(request, change)
        now = change_request(
            by=person(request),
            request=change,
            revision=revision,
            **attached_of(body, held_by(change)),
        )
        return answer(request, now)


class TakingBack(RecipeView):
    """Take one's own request back."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(request=None, responses=RequestOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Take it back, as it was read."""
        change = one_or_404(seen_requests(request), pk)
        with noting_refusal(request):
            must_be_own(change, person(request))
        revision = expected_revision(request, change)
        now = take_back(by=person(request), request=change, revision=revision)
        return answer(request, now)


class SeeingAnswer(RecipeView):
    """Say that one has seen the answer."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(request=None, responses=RequestOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """It is no longer told to who asked."""
        change = one_or_404(seen_requests(request), pk)
        with noting_refusal(request):
            must_be_own(change, person(request))
        revision = expected_revision(request, change)
        see_answer(by=person(request), request=change, revision=revision)
        return answer(request, change)


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
    """Update a request to the version approved meanwhile."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(responses=ThreeSidesOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read the three sides: base, proposal, current version."""
        change = self.change(request, pk)
        current = all_versions().approved().filter(recipe=change.base.recipe_id).first()
        lines = three_sides(change, current) if current else []
        versions = {"base": change.base_id, "current": current.pk if current else None}
        return tagged(request, change, {**versions, "sides": [sides_out(line) for line in lines]})

    @extend_schema(request=ChoicesIn, responses=RequestOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Choose for each parameter that both sides changed, by the three sides as read."""
        change, body = self.change(request, pk), valid(ChoicesIn, request)
        now = rebase(
            by=person(request),
            request=change,
            seen=SidesSeen(expected_revision(request, change), body["current"]),
            choices=body["choices"],
        )
        return answer(request, now)


def attached_of(body: dict[str, Any], held: Attached) -> dict[str, Any]:
    """The body with what it attaches, as the actions take it; what it is silent about stays."""
    named = {name: body.pop(name, held.ids(name)) for name in NAMES}
    return {**body, "attached": Attached.of(**named)}
