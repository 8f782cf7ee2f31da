"""Endpoints: planning, signing, following and stopping publications."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.models import User
from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from people.tokens.models import Scope as TokenScope
from recipes.coffees.models import Recipe, RoastLot
from recipes.publishing import actions
from recipes.publishing.actions import publish
from recipes.publishing.answers import OnePublicationOut, PublicationOut, PublicationSiteOut
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.plan import make_plan
from recipes.publishing.scope import Scope, scope_from
from recipes.publishing.serializers import (
    PlanIn,
    PlanOut,
    PublicationIn,
    ReasonIn,
    plan_as_json,
)
from recipes.publishing.timing import When
from recipes.versions.models import Version
from web.access import noting_refusal
from web.api import GuardedView, Listing, checked, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting
from web.lookup import one_or_404


def _version(pk: int) -> Version:
    found: Version | None = Version.objects.with_recipe().with_formula().filter(pk=pk).first()
    if found is None:
        raise Invalid("version", pk, "the id of an approved version")
    return found


def _scope(given: dict[str, Any], by: User) -> Scope:
    """The scope of a body. Raises Invalid for a place that isn't there, or not for this person."""
    scope = scope_from(given)
    unknown = scope.unknown(by)
    if unknown is not None:
        raise Invalid("ids", unknown, f"ids of {scope.where} that your role covers")
    if scope.holds is not None and not Recipe.objects.filter(pk=scope.holds).exists():
        raise Invalid("holds", scope.holds, "the id of a recipe")
    return scope


def _when(given: dict[str, Any]) -> When:
    """The moment of a body, or the lot it is with. Raises Invalid for a lot that isn't there."""
    pk = given.get("lot")
    lot = None if pk is None else RoastLot.objects.select_related("coffee").filter(pk=pk).first()
    if pk is not None and lot is None:
        raise Invalid("lot", pk, "the id of a roast lot of the version's coffee")
    return When(given.get("date"), given.get("time"), lot)


class Planning(GuardedView):
    """What publishing would do to every slot in scope. Writes nothing."""

    verb = Verb.PUBLICATION_PLAN

    @extend_schema(request=PlanIn, responses=PlanOut)
    def post(self, request: Request) -> Response:
        """Work out a plan; its digest is what a publication is signed over."""
        given = valid(PlanIn, request)
        plan = make_plan(
            version=_version(given["version"]),
            scope=_scope(given, person(request)),
            when=_when(given),
            by=person(request),
            now=datetime.now(UTC),
        )
        site = given.get("site")
        if site is not None and site not in plan.sites:
            raise Invalid("site", site, "the id of a site that the plan is for")
        return Response(plan_as_json(plan, site))


class Publications(Listing):
    """Publications, the newest first."""

    verb = Verb.RECIPE_VIEW
    acting_verb = Verb.PUBLICATION_SIGN
    acting_scope = TokenScope.SIGN

    @extend_schema(responses=PublicationOut(many=True))
    def get(self, request: Request) -> Response:
        """List those that reach a site of yours."""
        rows = Publication.objects.covered_by(person(request)).with_version()
        rows = rows.with_sites_for(person(request))
        return listed(self, rows, PublicationOut)

    @extend_schema(request=PublicationIn, responses={201: OnePublicationOut})
    @acting
    def post(self, request: Request) -> Response:
        """Sign a plan that was seen, named by its digest."""
        body = checked(PublicationIn, request)
        given: dict[str, Any] = body.validated_data
        made = publish(
            by=person(request),
            version=_version(given["version"]),
            scope=_scope(given, person(request)),
            when=_when(given),
            seen=given["seen_digest"],
            reason=given["reason"],
            credentials=body.credentials(request),
            acknowledged=given["acknowledged"],
            learnt_until=given["learnt_until"],
        )
        note_signed(request)
        return publication_answer(request, made.pk, status=201)


class OnePublication(GuardedView):
    """One publication with its progress, site by site."""

    verb = Verb.RECIPE_VIEW

    @extend_schema(responses=OnePublicationOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read it."""
        return publication_answer(request, pk)


def publication_answer(request: Request, pk: int, status: int = 200) -> Response:
    """The publication as this person may see it, with its tag."""
    rows = Publication.objects.covered_by(person(request)).with_version()
    rows = rows.with_sites_for(person(request))
    found = one_or_404(rows, pk)
    return tagged(request, found, OnePublicationOut(found).data, status=status)


class Decision(GuardedView):
    """Something done to a publication, with a reason."""

    verb = Verb.PUBLICATION_STOP
    act: ClassVar[Callable[..., object]]

    @extend_schema(request=ReasonIn, responses=OnePublicationOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Do it, if the publication is still as it was read."""
        found = one_or_404(Publication.objects.all(), pk)
        with noting_refusal(request):
            actions.must_cover(found, person(request))
        revision = expected_revision(request, found)
        reason = valid(ReasonIn, request)["reason"]
        type(self).act(by=person(request), publication=found, revision=revision, reason=reason)
        return publication_answer(request, pk)


class Stop(Decision):
    """Place nothing more until it is resumed."""

    act = staticmethod(actions.stop)


class Resume(Decision):
    """Go on where it was stopped."""

    act = staticmethod(actions.resume)


class OnePart(GuardedView):
    """A publication at one site: how far it is there. Tagged as the publication is."""

    verb = Verb.RECIPE_VIEW

    @extend_schema(responses=PublicationSiteOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read it; `pk` is the `id` in a publication's `sites`."""
        parts = PublicationSite.objects.covered_by(person(request)).with_begin().with_loading()
        found = one_or_404(parts, pk)
        return tagged(request, found.publication, PublicationSiteOut(found).data)


class CancelSite(GuardedView):
    """Give up what is not placed at one site."""

    verb = Verb.PUBLICATION_STOP

    @extend_schema(request=ReasonIn, responses=OnePublicationOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Do it, if the publication is still as it was read; `pk` is the `id` in its `sites`."""
        parts = PublicationSite.objects.covered_by(person(request), Verb.PUBLICATION_STOP)
        found = one_or_404(parts.select_related("publication"), pk)
        revision = expected_revision(request, found.publication)
        reason = valid(ReasonIn, request)["reason"]
        actions.cancel_site(by=person(request), part=found, revision=revision, reason=reason)
        return publication_answer(request, found.publication_id)


class Cancel(Decision):
    """Give up what a stopped publication has not placed."""

    act = staticmethod(actions.cancel)
