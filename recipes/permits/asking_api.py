"""Endpoints: asking for a permit. Answers are read and given as with every change request."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from recipes.coffees.api import RecipeView
from recipes.formula.fields import MomentField
from recipes.permits.api import changes_from
from recipes.permits.asking import ask_for_permit, change_permit_request
from recipes.requests.actions import EVIDENCE, REASON, must_be_own
from recipes.requests.api import answer as request_answer
from recipes.requests.api import attached_of, seen_requests
from recipes.requests.evidence import Attached, held_by
from recipes.requests.models import ChangeRequest
from recipes.requests.serializers import RequestOut, ids_field
from recipes.versions.api import all_versions
from stations.equipment.models import Site
from web.access import noting_refusal
from web.api import person, valid
from web.etags import expected_revision, matching
from web.fields import ID
from web.idempotency import acting
from web.lookup import named, one_or_404


class PermitRequestChange(serializers.Serializer[dict[str, Any]]):
    """Which slots, which parameters in the recipe's unit, until when, why."""

    slots = serializers.ListField(
        child=serializers.IntegerField(**ID), min_length=1, max_length=1000
    )
    changes = serializers.DictField(child=serializers.CharField(max_length=40))
    ends_at = MomentField()
    reason = serializers.CharField(max_length=REASON)
    evidence = serializers.CharField(allow_blank=True, default="", max_length=EVIDENCE)
    shots = ids_field()
    read_backs = ids_field()
    charts = ids_field()
    tastings = ids_field()


class PermitRequestIn(PermitRequestChange):
    """The same; `base` is the version that the slots hold, `site` the code of the one that asks."""

    base = serializers.IntegerField(**ID)
    site = serializers.CharField(max_length=20)


class PermitRequests(RecipeView):
    """Asking for a permit."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(request=PermitRequestIn, responses={201: RequestOut})
    @acting
    def post(self, request: Request) -> Response:
        """Ask that slots of one's site may differ for a time."""
        body, who = valid(PermitRequestIn, request), person(request)
        pk, code = body.pop("base"), body.pop("site")
        base = named(all_versions(), "base", pk, "the id of the version they hold", pk=pk)
        sites = Site.objects.covered_by(who, Verb.RECIPE_VIEW)
        site = named(sites, "site", code, "the code of a site of yours", code=code)
        asked = _asked(body, Attached())
        return request_answer(request, ask_for_permit(by=who, base=base, site=site, **asked), 201)


class OnePermitRequest(RecipeView):
    """A request for a permit: seen as every change request is, changed by who asked."""

    acting_verb = Verb.REQUEST_MAKE

    @extend_schema(responses=RequestOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read it, with its tag."""
        return request_answer(request, self._asked(request, pk))

    def _asked(self, request: Request, pk: int) -> ChangeRequest:
        """One for a permit that this person may see. Raises Http404."""
        return one_or_404(seen_requests(request).filter(kind="permit"), pk)

    @extend_schema(request=PermitRequestChange, responses=RequestOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change it; one that was asked back opens again."""
        change = self._asked(request, pk)
        with noting_refusal(request):
            must_be_own(change, person(request))
        body = valid(PermitRequestChange, request)
        revision = expected_revision(request, change)
        asked = _asked(body, held_by(change))
        now = change_permit_request(by=person(request), request=change, revision=revision, **asked)
        return request_answer(request, now)


def _asked(body: dict[str, Any], held: Attached) -> dict[str, Any]:
    """The body as the actions take it."""
    changes = changes_from(body.pop("changes"))
    return {**attached_of(body, held), "changes": changes}
