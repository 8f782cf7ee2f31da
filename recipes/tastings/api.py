"""Endpoints: blind tastings, from the plan to the evidence."""

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.brewing.taste import Method
from recipes.coffees.api import RecipeView
from recipes.requests.models import ChangeRequest
from recipes.tastings.actions import (
    attach,
    lock_answers,
    open_key,
    plan_tasting,
    record_answers,
)
from recipes.tastings.models import Tasting
from recipes.tastings.prospect import prospect
from recipes.tastings.result import session
from recipes.tastings.serializers import (
    AnswersIn,
    EvidenceIn,
    ForecastOut,
    ForecastQuery,
    ServingOut,
    TastingIn,
    TastingOut,
)
from recipes.versions.models import Version
from stations.equipment.models import Site
from web.access import noting_refusal
from web.api import Listing, asked, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting
from web.lookup import named, one_or_404

LONG = 4  # digits of a serving's number


class TastingView(RecipeView):
    """Tastings at one's sites; running them is for leads."""

    acting_verb = Verb.TASTING_RUN

    def seen(self, request: Request) -> QuerySet[Tasting]:
        """Those this person may see."""
        return Tasting.objects.covered_by(person(request)).with_all()

    def answer(self, request: Request, tasting: Tasting, status: int = 200) -> Response:
        """The tasting as it is now."""
        fresh = self.seen(request).get(pk=tasting.pk)
        return tagged(request, fresh, TastingOut(fresh).data, status)


class Tastings(TastingView, Listing):
    """All of them."""

    @extend_schema(responses=TastingOut(many=True))
    def get(self, request: Request) -> Response:
        """List tastings, newest first."""
        return listed(self, self.seen(request), TastingOut)

    @extend_schema(request=TastingIn, responses={201: TastingOut})
    @acting
    def post(self, request: Request) -> Response:
        """Plan a tasting."""
        body, who = valid(TastingIn, request), person(request)
        code = body.pop("site")
        sites = Site.objects.covered_by(who, Verb.RECIPE_VIEW)
        site = named(sites, "site", code, "the code of a site of yours", code=code)
        for side in ("base", "other"):
            body[side] = _version(side, body[side])
        return self.answer(request, plan_tasting(by=who, site=site, **body), 201)


class OneTasting(TastingView):
    """One of them."""

    @extend_schema(responses=TastingOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a tasting."""
        return self.answer(request, one_or_404(self.seen(request), pk))


class TastingAnswers(TastingView):
    """Its answers."""

    @extend_schema(request=AnswersIn, responses=TastingOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Write answers down."""
        tasting, body = one_or_404(self.seen(request), pk), valid(AnswersIn, request)
        now = record_answers(
            by=person(request),
            tasting=tasting,
            revision=expected_revision(request, tasting),
            answers=_numbered(body, "answers"),
            notes=_numbered(body, "notes"),
        )
        return self.answer(request, now)


class TastingLock(TastingView):
    """Closing the answers."""

    @extend_schema(request=None, responses=TastingOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Lock the answers."""
        tasting = one_or_404(self.seen(request), pk)
        revision = expected_revision(request, tasting)
        now = lock_answers(by=person(request), tasting=tasting, revision=revision)
        return self.answer(request, now)


class TastingKey(TastingView):
    """Opening the key."""

    @extend_schema(request=None, responses=TastingOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Open the key."""
        tasting = one_or_404(self.seen(request), pk)
        revision = expected_revision(request, tasting)
        now = open_key(by=person(request), tasting=tasting, revision=revision)
        return self.answer(request, now)


class TastingEvidence(TastingView):
    """Attaching it."""

    @extend_schema(request=EvidenceIn, responses=TastingOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Attach it to a request or a draft."""
        tasting, body = one_or_404(self.seen(request), pk), valid(EvidenceIn, request)
        asked = ChangeRequest.objects.covered_by(person(request)).filter(pk=body["request"] or 0)
        draft = _version("version", body["version"])
        now = attach(
            by=person(request), tasting=tasting, revision=expected_revision(request, tasting),
            request=asked.first(), version=draft,
        )  # fmt: skip
        return self.answer(request, now)


class TastingForecast(TastingView):
    """Judging a plan."""

    verb = Verb.TASTING_RUN
    query = ForecastQuery

    @extend_schema(responses=ForecastOut)
    def get(self, request: Request) -> Response:
        """Ask how many answers a tasting needs, and how often it would find something."""
        query = asked(ForecastQuery, request)
        judged = prospect(
            Method(query["method"]),
            query["assessments"],
            query["risk"],
            query["share"],
            query["aim"],
        )
        return Response(ForecastOut(judged).data)


class TastingServings(TastingView):
    """Who pours what."""

    verb = Verb.TASTING_RUN

    @extend_schema(responses=ServingOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """Read the pourer's sheet: it holds the key, so it is for those who run the tasting."""
        tasting = one_or_404(self.seen(request), pk)
        with noting_refusal(request):
            require(person(request), Verb.TASTING_RUN, tasting.site_id)
        return Response(ServingOut(session(tasting), many=True).data)


def _numbered(body: dict[str, dict[str, str]], field: str) -> dict[int, str]:
    """By serving number. Raises Invalid."""
    odd = [number for number in body[field] if not (number.isdecimal() and len(number) <= LONG)]
    if odd:
        raise Invalid(field, odd[0], "the number of a serving")
    return {int(number): text for number, text in body[field].items()}


def _version(field: str, pk: int | None) -> Version | None:
    if pk is None:
        return None
    return named(Version.objects.with_recipe(), field, pk, "the id of a version", pk=pk)
