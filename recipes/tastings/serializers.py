"""Blind tastings as the API shows and takes them."""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from recipes.brewing.serving import MOST_SERVINGS
from recipes.tastings.actions import RISK, SAMPLE, SEED, SHARE
from recipes.tastings.models import METHODS, Tasting
from recipes.tastings.result import result_of
from stations.equipment.models import Site
from web.fields import ID, PlainDecimal


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
