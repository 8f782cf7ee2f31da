"""What lists can be narrowed by, in the address."""

from typing import Any

from rest_framework import serializers

from recipes.api.serializers import ID
from recipes.models import ChangeRequest, Version


class VersionFilter(serializers.Serializer[dict[str, Any]]):
    """Versions of one recipe, or in one state."""

    recipe = serializers.IntegerField(required=False, **ID)
    state = serializers.ChoiceField(required=False, choices=Version.State.choices)


class RequestFilter(serializers.Serializer[dict[str, Any]]):
    """Change requests of one recipe or site, or in one state."""

    recipe = serializers.IntegerField(required=False, **ID)
    site = serializers.IntegerField(required=False, **ID)
    state = serializers.ChoiceField(required=False, choices=ChangeRequest.State.choices)


class TwoVersions(serializers.Serializer[dict[str, Any]]):
    """Two version numbers of a recipe."""

    old = serializers.IntegerField(min_value=1, max_value=2**31 - 1)
    new = serializers.IntegerField(min_value=1, max_value=2**31 - 1)
