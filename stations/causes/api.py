"""Endpoints: what was found at a site's stations, and one with its shots."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.causes.models import CauseFinding
from stations.causes.showing import sentence, statistic
from stations.causes.wording import WORDS
from stations.equipment.models import Site
from web.api import GuardedView, Listing, listed, person
from web.lookup import one_or_404


class CauseFindingOut(serializers.ModelSerializer[CauseFinding]):
    """A cause of drift that was found, its statistic, and what became of it.

    `size` is how much changed by then, in the measure's own unit; `run_length` is how many shots
    there are to a false alarm on average.
    """

    words = serializers.SerializerMethodField()
    statistic = serializers.SerializerMethodField()
    steps = serializers.SerializerMethodField(help_text="what to do, in this order")

    class Meta:
        """What is shown."""

        model = CauseFinding
        fields = [
            "id", "station", "cause", "grinder", "upward", "size", "total", "decision",
            "run_length", "shots", "began_at", "found_at", "state", "given", "note",
            "acknowledged_at", "evidence", "evidence_id", "evidence_words", "cleared_at",
            "revision", "words", "statistic", "steps",
        ]  # fmt: skip

    def get_words(self, finding: CauseFinding) -> str:
        """What changed."""
        return sentence(finding)

    def get_statistic(self, finding: CauseFinding) -> str:
        """By which test, and how often it is wrong."""
        return statistic(finding)

    def get_steps(self, finding: CauseFinding) -> list[str]:
        """What to do."""
        return list(WORDS[finding.cause].steps)


class FindingPointOut(serializers.Serializer[Any]):
    """A shot: its moment, the measure, its normal score, the sums upward and downward."""

    at = serializers.DateTimeField()
    value = serializers.FloatField()
    score = serializers.FloatField()
    high = serializers.FloatField()
    low = serializers.FloatField()


class CauseFindingWithPointsOut(CauseFindingOut):
    """The same with the newest shots by the time it was found."""

    points = serializers.SerializerMethodField()

    class Meta(CauseFindingOut.Meta):
        """What is shown."""

        fields = [*CauseFindingOut.Meta.fields, "points"]

    @extend_schema(responses=FindingPointOut(many=True))
    def get_points(self, finding: CauseFinding) -> list[dict[str, Any]]:
        """By moment."""
        names = ("at", "value", "score", "high", "low")
        return [dict(zip(names, point, strict=True)) for point in finding.points]


class Findings(Listing):
    """What was found at a site."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=CauseFindingOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        """List what was found, the newest first."""
        site = one_or_404(Site.objects.covered_by(person(request)), code=code)
        return listed(self, CauseFinding.objects.filter(site=site), CauseFindingOut)


class OneFinding(GuardedView):
    """One of them."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=CauseFindingWithPointsOut)
    def get(self, request: Request, pk: int) -> Response:
        """With its shots."""
        finding = one_or_404(CauseFinding.objects.covered_by(person(request)), pk)
        return Response(CauseFindingWithPointsOut(finding).data)
