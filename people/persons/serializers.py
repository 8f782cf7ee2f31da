"""People and their roles as the API shows and takes them."""

from typing import Any

from rest_framework import serializers

from people.persons.models import Assignment, User
from people.persons.verbs import Role


class AssignmentOut(serializers.ModelSerializer[Assignment]):
    """A role someone has; `site` null means every site."""

    site_name = serializers.CharField(source="site.name", allow_null=True, read_only=True)

    class Meta:
        model = Assignment
        fields = ["id", "role", "site", "site_name", "created_at"]


class PersonOut(serializers.ModelSerializer[User]):
    """A person with their roles."""

    assignments = AssignmentOut(many=True, read_only=True)

    class Meta:
        model = User
        fields = ["id", "email", "name", "is_active", "created_at", "revision", "assignments"]


class PersonBrief(serializers.ModelSerializer[User]):
    """Somebody, by number and printed name."""

    class Meta:
        model = User
        fields = ["id", "name"]


class PersonIn(serializers.Serializer[dict[str, Any]]):
    """A person to add, or all of what can be edited."""

    email = serializers.CharField(max_length=254)
    name = serializers.CharField(max_length=80)


class AssignmentIn(serializers.Serializer[dict[str, Any]]):
    """A role to give; without a site, at every site."""

    role = serializers.ChoiceField(choices=Role.choices)
    site = serializers.IntegerField(
        required=False, allow_null=True, default=None, min_value=1, max_value=2**63 - 1
    )


class InvitationOut(serializers.Serializer[dict[str, str]]):
    """The link to set a password, shown to the owner who asked."""

    link = serializers.CharField()


class MeOut(serializers.Serializer[dict[str, Any]]):
    """Who one is here, and what one may do."""

    id = serializers.IntegerField()
    email = serializers.CharField()
    name = serializers.CharField()
    assignments = AssignmentOut(many=True)
    verbs = serializers.ListField(child=serializers.CharField())
