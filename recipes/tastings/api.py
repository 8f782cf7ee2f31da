"""Endpoints: blind tastings."""

from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.brewing.serving import MOST_SERVINGS
from recipes.brewing.taste import Method
from recipes.coffees.api import RecipeView
from recipes.requests.models import ChangeRequest
from recipes.tastings.actions import (
    LEAST_RISK,
    MOST_RISK,
    SAMPLE,
    SEED,
    attach,
    lock_answers,
    open_key,
    plan_tasting,
    prospect,
    record_answers,
)
from recipes.tastings.models import METHODS, Tasting
from recipes.tastings.result import result_of, session
from recipes.versions.models import Version
from stations.equipment.models import Site
from web.access import noting_refusal
from web.api import asked, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.fields import ID, PlainDecimal
from web.idempotency import acting
from web.lookup import one_or_404
from web.numbers import Bounds

LONG = 4  # digits of a serving's number


class TastingResult(serializers.Serializer[dict[str, Any]]):
    """What an opened tasting shows; `p_value` by the exact binomial."""

    answers = serializers.IntegerField()
    counted = serializers.IntegerField()
    needed = serializers.IntegerField(allow_null=True)
    p_value = serializers.CharField()
    shown = serializers.BooleanField()
    sentence = serializers.CharField()


class TastingOut(serializers.ModelSerializer[Tasting]):
    """A tasting; `result` once its key is open."""

    site = serializers.SlugRelatedField[Site](slug_field="code", read_only=True)
    risk = PlainDecimal()
    answers = serializers.SerializerMethodField()
    result = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = Tasting
        fields = [
            "id", "site", "method", "base", "other", "first_sample", "second_sample", "risk",
            "assessments", "state", "planned_at", "locked_at", "opened_at", "for_request",
            "for_version", "answers", "result", "revision",
        ]  # fmt: skip

    def get_answers(self, tasting: Tasting) -> dict[str, str]:
        """The chosen cup's code by serving number."""
        return {str(one.number): one.chosen for one in tasting.answers.all()}

    @extend_schema_field(TastingResult(allow_null=True))
    def get_result(self, tasting: Tasting) -> dict[str, Any] | None:
        """Null until the key is open."""
        if tasting.state != Tasting.State.OPENED:
            return None
        result = result_of(tasting)
        return {
            "answers": result.answers, "counted": result.counted, "needed": result.needed,
            "p_value": f"{result.p:f}", "shown": result.shown, "sentence": result.sentence,
        }  # fmt: skip


class TastingIn(serializers.Serializer[dict[str, Any]]):
    """A tasting to plan; samples are versions, or described."""

    site = serializers.CharField(max_length=20)
    method = serializers.ChoiceField(choices=METHODS)
    base = serializers.IntegerField(allow_null=True, default=None, **ID)
    other = serializers.IntegerField(allow_null=True, default=None, **ID)
    first_sample = serializers.CharField(allow_blank=True, default="", max_length=SAMPLE)
    second_sample = serializers.CharField(allow_blank=True, default="", max_length=SAMPLE)
    risk = PlainDecimal()
    assessments = serializers.IntegerField(min_value=1, max_value=10_000)
    seed = serializers.CharField(allow_blank=True, default="", max_length=SEED)


class AnswersIn(serializers.Serializer[dict[str, Any]]):
    """The chosen cup's code by serving number; an empty one takes the answer away."""

    answers = serializers.DictField(child=serializers.CharField(allow_blank=True, max_length=3))


class EvidenceIn(serializers.Serializer[dict[str, Any]]):
    """The request or the draft it is evidence for: one of the two."""

    request = serializers.IntegerField(allow_null=True, default=None, **ID)
    version = serializers.IntegerField(allow_null=True, default=None, **ID)


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


class Tastings(TastingView):
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
        site = Site.objects.covered_by(who, Verb.RECIPE_VIEW).filter(code=code).first()
        if site is None:
            raise Invalid("site", code, "the code of a site of yours")
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
        tasting, given = one_or_404(self.seen(request), pk), valid(AnswersIn, request)["answers"]
        odd = [number for number in given if not (number.isdecimal() and len(number) <= LONG)]
        if odd:
            raise Invalid("answers", odd[0], "the number of a serving")
        answers = {int(number): chosen for number, chosen in given.items()}
        revision = expected_revision(request, tasting)
        now = record_answers(
            by=person(request), tasting=tasting, revision=revision, answers=answers
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


def _version(field: str, pk: int | None) -> Version | None:
    if pk is None:
        return None
    version: Version | None = Version.objects.with_recipe().filter(pk=pk).first()
    if version is None:
        raise Invalid(field, pk, "the id of a version")
    return version


# Endpoints: what a tasting could show before it is kept, and what goes into which cup.

RISK = Bounds(LEAST_RISK, MOST_RISK, places=4, unit="1")
SHARE = Bounds(Decimal("0.05"), Decimal(1), places=2, unit="1")


class ForecastQuery(serializers.Serializer[dict[str, Any]]):
    """A plan to judge; `share` is of tasters who could really tell."""

    method = serializers.ChoiceField(choices=METHODS)
    assessments = serializers.IntegerField(min_value=1, max_value=MOST_SERVINGS)
    risk = PlainDecimal(bounds=RISK, default=Decimal("0.05"))
    share = PlainDecimal(bounds=SHARE, default=Decimal("0.4"))


class ForecastOut(serializers.Serializer[Any]):
    """Answers needed (null: no number is enough), power in %, and answers for a power of 80 %.

    `panel_least` answers reach it, from `panel_steady` on it is kept; null: more than 300.
    """

    needed = serializers.IntegerField(allow_null=True)
    power = PlainDecimal()
    panel_least = serializers.IntegerField(source="panel.least", allow_null=True)
    panel_steady = serializers.IntegerField(source="panel.steady", allow_null=True)


class ServingOut(serializers.Serializer[Any]):
    """One serving: samples in order, from left to right, and the codes on the cups."""

    number = serializers.IntegerField()
    order = serializers.CharField(help_text="A and B; in a duo-trio the first is the reference")
    codes = serializers.ListField(child=serializers.CharField())


class TastingForecast(TastingView):
    """Judging a plan."""

    verb = Verb.TASTING_RUN
    pagination_class = None

    @extend_schema(parameters=[ForecastQuery], responses=ForecastOut)
    def get(self, request: Request) -> Response:
        """Ask how many answers a tasting needs, and how often it would find something."""
        query = asked(ForecastQuery, request)
        judged = prospect(
            Method(query["method"]), query["assessments"], query["risk"], query["share"]
        )
        return Response(ForecastOut(judged).data)


class TastingServings(TastingView):
    """Who pours what."""

    verb = Verb.TASTING_RUN
    pagination_class = None

    @extend_schema(responses=ServingOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """Read the pourer's sheet: it holds the key, so it is for those who run the tasting."""
        tasting = one_or_404(self.seen(request), pk)
        with noting_refusal(request):
            require(person(request), Verb.TASTING_RUN, tasting.site_id)
        return Response(ServingOut(session(tasting), many=True).data)
