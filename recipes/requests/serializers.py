"""Change requests as the API shows and takes them."""

from typing import Any

from rest_framework import serializers

from people.persons.serializers import PersonBrief
from recipes.formula.fields import FormulaIn, FormulaOut
from recipes.requests.actions import EVIDENCE, REASON
from recipes.requests.decisions import WORDS
from recipes.requests.evidence import MOST, held_by
from recipes.requests.models import ChangeRequest
from web.fields import ID


class RequestFilter(serializers.Serializer[dict[str, Any]]):
    """Change requests of one recipe or site, or in one state."""

    recipe = serializers.IntegerField(required=False, **ID)
    site = serializers.IntegerField(required=False, **ID)
    state = serializers.ChoiceField(required=False, choices=ChangeRequest.State.choices)


class RequestOut(serializers.ModelSerializer[ChangeRequest]):
    """A change request; `base` is the version it is against."""

    author = PersonBrief(read_only=True)
    decided_by = PersonBrief(read_only=True, allow_null=True)
    site = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    proposals = FormulaOut()
    drafts = serializers.PrimaryKeyRelatedField[Any](
        source="resulting_versions", many=True, read_only=True
    )

    shots = serializers.SerializerMethodField()
    read_backs = serializers.SerializerMethodField()
    slots = serializers.SerializerMethodField()
    permit = serializers.SerializerMethodField()
    charts = serializers.SerializerMethodField()
    tastings = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = ChangeRequest
        fields = [
            "id", "kind", "base", "site", "author", "state", "reason", "evidence", "shots",
            "read_backs", "charts", "tastings", "proposals", "made_at",
            "slots", "ends_at", "permit", "decided_by", "decided_at", "decision_reason", "drafts",
            "revision",
        ]  # fmt: skip

    def get_shots(self, request: ChangeRequest) -> list[int]:
        """The ids of the check shots that are attached."""
        return sorted(held_by(request).shots)

    def get_read_backs(self, request: ChangeRequest) -> list[int]:
        """The ids of the read-backs that are attached."""
        return sorted(held_by(request).read_backs)

    def get_slots(self, request: ChangeRequest) -> list[int]:
        """The ids of the slots for which a permit is asked."""
        return [each.slot_id for each in request.slots.all()]

    def get_permit(self, request: ChangeRequest) -> int | None:
        """The id of the permit that answers it."""
        permit = getattr(request, "permit", None)
        return permit.pk if permit else None

    def get_charts(self, request: ChangeRequest) -> list[int]:
        """The ids of the kept charts that are attached."""
        return sorted(held_by(request).charts)

    def get_tastings(self, request: ChangeRequest) -> list[int]:
        """The ids of the opened tastings that it points to."""
        return sorted(held_by(request).tastings)


def ids_field() -> Any:  # noqa: ANN401 - a field
    """Ids of what is attached; what a body is silent about stays."""
    child = serializers.IntegerField(**ID)
    return serializers.ListField(child=child, max_length=MOST, required=False)


class RequestChange(serializers.Serializer[dict[str, Any]]):
    """All of a request that its author can edit."""

    proposals = FormulaIn()
    reason = serializers.CharField(max_length=REASON)
    evidence = serializers.CharField(allow_blank=True, default="", max_length=EVIDENCE)
    shots = ids_field()
    read_backs = ids_field()
    charts = ids_field()
    tastings = ids_field()


class RequestIn(RequestChange):
    """A request to make: against an approved version, for a site (by its code)."""

    base = serializers.IntegerField(**ID)
    site = serializers.CharField(max_length=20)


class WordsIn(serializers.Serializer[dict[str, Any]]):
    """Why, or what is asked."""

    reason = serializers.CharField(max_length=WORDS)


class AcceptIn(serializers.Serializer[dict[str, Any]]):
    """A remark to the author."""

    note = serializers.CharField(allow_blank=True, default="", max_length=WORDS)
