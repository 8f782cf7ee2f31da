"""Versions as the API shows and takes them."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from people.persons.serializers import PersonBrief
from people.signatures.fields import SignatureOut, SignatureSerializer
from recipes.formula.display import ratio_of
from recipes.formula.fields import FormulaIn, FormulaOut, StatedOut, shown
from recipes.versions.drafts import NOTE
from recipes.versions.models import Answer, Comment, Version
from recipes.versions.questions import REASON
from recipes.versions.review import COMMENT
from web.fields import ID


class ReasonOut(serializers.ModelSerializer[Answer]):
    """Why something unusual is meant so; `about` are the values it was said of, by field."""

    by = PersonBrief(read_only=True)
    about = serializers.DictField(child=serializers.CharField(), read_only=True)

    class Meta:
        """What is shown."""

        model = Answer
        fields = ["kind", "machine_type", "question", "about", "reason", "by", "at"]


class VersionOut(serializers.ModelSerializer[Version]):
    """A version with its formula; `state` draft with a `submitted_at` came back from review."""

    recipe_name = serializers.CharField(source="recipe.__str__", read_only=True)
    author = PersonBrief(read_only=True)
    last_editor = PersonBrief(read_only=True)
    formula = FormulaOut()
    variants = serializers.SerializerMethodField()
    brew_ratio = serializers.SerializerMethodField()
    answers = ReasonOut(many=True, read_only=True)
    signature = SignatureOut(read_only=True, allow_null=True)

    class Meta:
        """What is shown."""

        model = Version
        fields = [
            "id", "recipe", "recipe_name", "number", "state", "author", "last_editor", "based_on",
            "change_request", "lot", "note", "formula", "variants", "brew_ratio",
            "content_digest",
            "answers", "created_at", "submitted_at", "signature", "revision",
        ]  # fmt: skip

    @extend_schema_field(serializers.DictField(child=serializers.DictField(child=StatedOut())))
    def get_variants(self, version: Version) -> dict[str, Any]:
        """By machine type (id), the formula for those that can't do the whole one."""
        return {str(pk): shown(formula) for pk, formula in version.variants.items()}

    def get_brew_ratio(self, version: Version) -> str | None:
        """Beverage mass over dose, to two places; null while either is missing."""
        ratio = ratio_of(version.stated)
        return None if ratio is None else f"{ratio:f}"


class DraftIn(serializers.Serializer[dict[str, Any]]):
    """A draft to begin, from another version of the recipe or from nothing."""

    based_on = serializers.IntegerField(allow_null=True, default=None, **ID)
    lot = serializers.IntegerField(allow_null=True, default=None, **ID)
    note = serializers.CharField(allow_blank=True, default="", max_length=NOTE)


class DraftContent(serializers.Serializer[dict[str, Any]]):
    """All that a draft says: a parameter left out is removed."""

    formula = FormulaIn()
    lot = serializers.IntegerField(allow_null=True, default=None, **ID)
    note = serializers.CharField(allow_blank=True, default="", max_length=NOTE)


class SubmissionIn(serializers.Serializer[dict[str, Any]]):
    """Why what is unusual is meant so: a reason by the name of each question (see appraisal)."""

    answers = serializers.DictField(
        child=serializers.CharField(max_length=REASON), required=False, default=dict
    )


class ReturnIn(serializers.Serializer[dict[str, Any]]):
    """Comments by parameter code; "" is the whole."""

    comments = serializers.DictField(
        child=serializers.CharField(allow_blank=True, max_length=COMMENT)
    )


class WithdrawalIn(serializers.Serializer[dict[str, Any]]):
    """Why."""

    reason = serializers.CharField(max_length=COMMENT)


class ApprovalIn(SignatureSerializer):
    """The signature; `digest` is the content_digest of what was read."""

    digest = serializers.RegexField(r"^[0-9a-fA-F]{64}$")


class CommentIn(serializers.Serializer[dict[str, Any]]):
    """A remark on the whole, or on one parameter."""

    text = serializers.CharField(max_length=COMMENT)
    code = serializers.CharField(allow_blank=True, default="", max_length=40)


class CommentOut(serializers.ModelSerializer[Comment]):
    """What somebody said about a version."""

    by = PersonBrief(read_only=True)

    class Meta:
        """What is shown."""

        model = Comment
        fields = ["id", "by", "at", "code", "text"]
