"""Endpoints: change requests."""

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.verbs import Verb
from people.web.api import asked, listed, noting_refusal, person, valid
from people.web.etags import expected_revision, matching, tagged
from people.web.idempotency import acting
from people.web.pages import one_or_404
from recipes.actions.requests import change_request, make_request, must_be_own, take_back
from recipes.api.coffees import RecipeView
from recipes.api.filters import RequestFilter
from recipes.api.request_serializers import RequestChange, RequestIn, RequestOut
from recipes.api.versions import all_versions
from recipes.models import ChangeRequest
from stations.models import Site


def seen_requests(request: Request) -> QuerySet[ChangeRequest]:
    """Requests of sites this person may see, with all that an answer holds."""
    rows = ChangeRequest.objects.covered_by(person(request)).with_base()
    return rows.prefetch_related("proposals", "resulting_versions")


def answer(request: Request, change: ChangeRequest, status: int = 200) -> Response:
    """The request as it is now, with its tag."""
    fresh = seen_requests(request).get(pk=change.pk)
    return tagged(request, fresh, RequestOut(fresh).data, status)


class Requests(RecipeView):
    """Change requests of the sites one may see."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(parameters=[RequestFilter], responses=RequestOut(many=True))
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
        wanted = body.pop("base")
        base = all_versions().filter(pk=wanted).first()
        if base is None:
            raise Invalid("base", wanted, "the id of an approved version")
        # A site somebody may not ask for is refused by the action; one they may not even see
        # does not exist for them.
        code = body.pop("site")
        site = Site.objects.covered_by(who, Verb.RECIPE_VIEW).filter(code=code).first()
        if site is None:
            raise Invalid("site", code, "the code of a site of yours")
        return answer(request, make_request(by=who, base=base, site=site, **body), 201)


class OneRequest(RecipeView):
    """One change request."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(responses=RequestOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a change request."""
        found = one_or_404(seen_requests(request), pk)
        return tagged(request, found, RequestOut(found).data)

    @extend_schema(request=RequestChange, responses=RequestOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change one's own request; one that was asked back opens again."""
        found = one_or_404(seen_requests(request), pk)
        with noting_refusal(request):
            must_be_own(found, person(request))
        body = valid(RequestChange, request)
        revision = expected_revision(request, found)
        now = change_request(by=person(request), request=found, revision=revision, **body)
        return answer(request, now)


class TakingBack(RecipeView):
    """Take one's own request back."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(request=None, responses=RequestOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Take it back."""
        found = one_or_404(seen_requests(request), pk)
        return answer(request, take_back(by=person(request), request=found))
