"""Blind tastings as the API shows and takes them."""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from recipes.brewing.serving import MOST_SERVINGS
from recipes.brewing.taste import Method
from recipes.tastings.actions import MOST_EACH, NOTE, RISK, SAMPLE, SEED
from recipes.tastings.models import METHODS, Aim, Tasting
from recipes.tastings.prospect import SHARE
from recipes.tastings.result import Range, result_of
from stations.equipment.models import Site
from web.fields import ID, PlainDecimal


class TastingRange(serializers.Serializer[Range]):
    """A figure with its exact interval of 90 % confidence; null: no end."""

    value = PlainDecimal(allow_null=True)
    low = PlainDecimal()
    high = PlainDecimal(allow_null=True)


class TastingResult(serializers.Serializer[dict[str, Any]]):
    """What an opened tasting shows; `p_value` by the exact binomial.

    `needed` correct answers show a difference, so many or fewer show similarity. `share` in % of
    tasters who can tell, or of answers that prefer sample B; `distance` is d-prime.
    """

    answers = serializers.IntegerField()
    counted = serializers.IntegerField()
    needed = serializers.IntegerField(allow_null=True)
    p_value = serializers.CharField()
    shown = serializers.BooleanField()
    sentence = serializers.CharField()
    share = TastingRange()
    distance = TastingRange()


class TastingOut(serializers.ModelSerializer[Tasting]):
    """A tasting; `result` once its key is open."""

    site = serializers.SlugRelatedField[Site](slug_field="code", read_only=True)
    risk = PlainDecimal()
    share = PlainDecimal(allow_null=True)
    answers = serializers.SerializerMethodField()
    notes = serializers.SerializerMethodField()
    result = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = Tasting
        fields = [
            "id", "site", "method", "aim", "share", "base", "other", "first_sample",
            "second_sample", "risk", "assessments", "servings_each", "state", "planned_at",
            "locked_at", "opened_at", "for_request", "for_version", "answers", "notes", "result",
            "revision",
        ]  # fmt: skip

    def get_answers(self, tasting: Tasting) -> dict[str, str]:
        """The chosen cup's code by serving number."""
        return {str(one.number): one.chosen for one in tasting.answers.all()}

    def get_notes(self, tasting: Tasting) -> dict[str, str]:
        """The taster's words by serving number; none before the answers are locked.

        Until then others are still tasting, and are not to be led.
        """
        if tasting.state == Tasting.State.PLANNED:
            return {}
        return {str(one.number): one.note for one in tasting.answers.all() if one.note}

    @extend_schema_field(TastingResult(allow_null=True))
    def get_result(self, tasting: Tasting) -> dict[str, Any] | None:
        """Null until the key is open."""
        if tasting.state != Tasting.State.OPENED:
            return None
        result = result_of(tasting)
        return {
            "answers": result.answers, "counted": result.counted, "needed": result.needed,
            "p_value": f"{result.p:f}", "shown": result.shown, "sentence": result.sentence,
            "share": TastingRange(result.share).data,
            "distance": TastingRange(result.distance).data,
        }  # fmt: skip


class TastingIn(serializers.Serializer[dict[str, Any]]):
    """A tasting to plan; samples are versions, or described."""

    site = serializers.CharField(max_length=20)
    method = serializers.ChoiceField(choices=METHODS)
    base = serializers.IntegerField(allow_null=True, default=None, **ID)
    other = serializers.IntegerField(allow_null=True, default=None, **ID)
    first_sample = serializers.CharField(allow_blank=True, default="", max_length=SAMPLE)
    second_sample = serializers.CharField(allow_blank=True, default="", max_length=SAMPLE)
    aim = serializers.ChoiceField(choices=Aim.choices, default=Aim.DIFFERENCE)
    share = PlainDecimal(allow_null=True, default=None)
    risk = PlainDecimal()
    assessments = serializers.IntegerField(min_value=1, max_value=10_000)
    servings_each = serializers.IntegerField(min_value=1, max_value=MOST_EACH, default=1)
    seed = serializers.CharField(allow_blank=True, default="", max_length=SEED)


class AnswersIn(serializers.Serializer[dict[str, Any]]):
    """The chosen cup's code by serving number; an empty one takes the answer away.

    `notes` are the tasters' words on those servings; one that is not given stays.
    """

    answers = serializers.DictField(child=serializers.CharField(allow_blank=True, max_length=3))
    notes = serializers.DictField(
        child=serializers.CharField(allow_blank=True, max_length=NOTE), default=dict
    )


class EvidenceIn(serializers.Serializer[dict[str, Any]]):
    """The request or the draft it is evidence for: one of the two."""

    request = serializers.IntegerField(allow_null=True, default=None, **ID)
    version = serializers.IntegerField(allow_null=True, default=None, **ID)


class ForecastQuery(serializers.Serializer[dict[str, Any]]):
    """A plan to judge; `share` is of tasters who could really tell, or at most may."""

    method = serializers.ChoiceField(choices=METHODS)
    aim = serializers.ChoiceField(choices=Aim.choices, default=Aim.DIFFERENCE)
    assessments = serializers.IntegerField(min_value=1, max_value=MOST_SERVINGS)
    risk = PlainDecimal(bounds=RISK, default=Decimal("0.05"))
    share = PlainDecimal(bounds=SHARE, default=Decimal("0.4"))

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Similarity is asked of a triangle or a duo-trio."""
        if attrs["aim"] == Aim.SIMILARITY and Method(attrs["method"]).is_preference:
            raise serializers.ValidationError({"method": "triangle or duo-trio for similarity"})
        return attrs


class ForecastOut(serializers.Serializer[Any]):
    """Right answers needed, or allowed for similarity (null: no number does), and power in %.

    `panel_least` answers reach a power of 80 %, from `panel_steady` on it is kept; null: more than
    300.
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
