"""Menus as the API shows and takes them."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from people.persons.serializers import PersonBrief
from people.signatures.fields import SignatureOut, SignatureSerializer
from recipes.formula.fields import MomentField
from recipes.menus.departures import Departs
from recipes.menus.models import MOST_SLOT_NUMBER, NAME, Menu, MenuVersion
from recipes.publishing.serializers import WORDS, PlanSlotOut
from recipes.versions.drafts import NOTE
from recipes.versions.review import COMMENT
from web.fields import ID


class MenuOut(serializers.ModelSerializer[Menu]):
    """A menu: what it says is in its versions."""

    class Meta:
        """What is shown."""

        model = Menu
        fields = ["id", "name", "created_at"]


class MenuIn(serializers.Serializer[dict[str, Any]]):
    """A menu to enter: empty, or like what a site's slots should hold now."""

    name = serializers.CharField(max_length=NAME)
    like = serializers.IntegerField(
        allow_null=True, default=None, help_text="The id of a site.", **ID
    )


class DrinkOut(serializers.Serializer[dict[str, Any]]):
    """What stands on one slot number, and how that version stands today."""

    slot_number = serializers.IntegerField()
    version = serializers.IntegerField(source="version_id")
    name = serializers.CharField(source="version.__str__")
    state = serializers.CharField(source="version.state")


class MenuVersionOut(serializers.ModelSerializer[MenuVersion]):
    """A version of a menu; it can be approved and published while `out_of_use` is empty."""

    menu_name = serializers.CharField(source="menu.name")
    author = PersonBrief(read_only=True)
    last_editor = PersonBrief(read_only=True)
    drinks = DrinkOut(many=True)
    out_of_use = serializers.SerializerMethodField()
    signature = SignatureOut(read_only=True, allow_null=True)

    class Meta:
        """What is shown."""

        model = MenuVersion
        fields = [
            "id", "menu", "menu_name", "number", "state", "author", "last_editor", "based_on",
            "note", "remark", "drinks", "out_of_use", "content_digest", "created_at",
            "submitted_at", "signature", "revision",
        ]  # fmt: skip

    @extend_schema_field(serializers.ListField(child=serializers.IntegerField()))
    def get_out_of_use(self, version: MenuVersion) -> list[int]:
        """The slot numbers whose version is approved no more."""
        return [number for number, _ in version.out_of_use]


class DrinkIn(serializers.Serializer[dict[str, Any]]):
    """An approved version for one slot number."""

    slot_number = serializers.IntegerField(min_value=1, max_value=MOST_SLOT_NUMBER)
    version = serializers.IntegerField(**ID)


class ArrangementIn(serializers.Serializer[dict[str, Any]]):
    """All that a draft says: a slot number left out is free."""

    drinks = serializers.ListField(child=DrinkIn(), max_length=MOST_SLOT_NUMBER)
    note = serializers.CharField(allow_blank=True, default="", max_length=NOTE)

    def validate_drinks(self, drinks: list[dict[str, int]]) -> list[dict[str, int]]:
        """No slot number twice. Raises ValidationError."""
        numbers = [drink["slot_number"] for drink in drinks]
        if len(set(numbers)) < len(numbers):
            raise serializers.ValidationError("every slot number once")
        return drinks


class RemarkIn(serializers.Serializer[dict[str, Any]]):
    """Why it goes back to its author."""

    remark = serializers.CharField(max_length=COMMENT)


class MenuPlanIn(serializers.Serializer[dict[str, Any]]):
    """At which of the sites that follow it, and when: at once without `date` and `time`."""

    sites = serializers.ListField(
        child=serializers.IntegerField(**ID), min_length=1, max_length=20_000
    )
    date = serializers.DateField(required=False, allow_null=True)
    time = serializers.TimeField(required=False, allow_null=True)
    site = serializers.IntegerField(
        required=False, help_text="The site whose slots the plan lists one by one.", **ID
    )


class MenuPublicationIn(MenuPlanIn, SignatureSerializer):
    """A plan that was seen, and the signature over it."""

    reason = serializers.CharField(max_length=WORDS)
    seen_digest = serializers.RegexField(r"^[0-9a-f]{64}$")
    acknowledged = serializers.BooleanField(default=False)
    learnt_until = MomentField(required=False, allow_null=True, default=None)


class MenuPlanSiteOut(serializers.Serializer[dict[str, Any]]):
    """One site's share of a plan; `missing` are slot numbers that no station there has."""

    site = serializers.IntegerField()
    name = serializers.CharField()
    due_at = serializers.DateTimeField()
    place = serializers.IntegerField()
    same = serializers.IntegerField()
    refuse = serializers.IntegerField()
    missing = serializers.ListField(child=serializers.IntegerField())


class MenuPlanOut(serializers.Serializer[dict[str, Any]]):
    """A plan; sign its digest, unless there is a `hindrance`."""

    digest = serializers.CharField()
    hindrance = serializers.CharField(allow_blank=True)
    to_acknowledge = serializers.ListField(child=serializers.CharField())
    learnt_until = serializers.DateTimeField(allow_null=True)
    sites = MenuPlanSiteOut(many=True)
    slots = PlanSlotOut(many=True)


class DepartureOut(serializers.Serializer[Any]):
    """A slot that should hold something other than the menu says."""

    slot = serializers.IntegerField(source="slot_id")
    slot_number = serializers.IntegerField(source="number")
    place = serializers.CharField()
    departs = serializers.ChoiceField([each.value for each in Departs], source="kind")
    says = serializers.CharField(source="says.__str__")
    holds = serializers.CharField(source="words")
    permit = serializers.IntegerField(source="permit_id", allow_null=True)


class StandingOut(serializers.Serializer[dict[str, Any]]):
    """What a site follows and where it departs; nulls where it follows nothing.

    `menu_version` is what it is held against: what was last `published` there, else the approved.
    """

    site = serializers.IntegerField()
    menu = serializers.IntegerField(allow_null=True)
    menu_name = serializers.CharField(allow_blank=True)
    since = serializers.DateTimeField(allow_null=True)
    by = serializers.CharField(allow_blank=True)
    menu_version = serializers.IntegerField(allow_null=True)
    published = serializers.BooleanField()
    newer = serializers.IntegerField(allow_null=True)
    departures = DepartureOut(many=True)


class FollowIn(serializers.Serializer[dict[str, Any]]):
    """The menu to follow, or null for none; `instead_of` is what the site was seen to follow."""

    menu = serializers.IntegerField(allow_null=True, **ID)
    instead_of = serializers.IntegerField(allow_null=True, **ID)
