"""Endpoints: the registry of parameters, and what waits for the person asking."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from recipes.coffees.api import RecipeView
from recipes.formula.parameters import PARAMETERS, Parameter
from recipes.overview.home import WorkList, work_lists
from web.api import person


class ParameterOut(serializers.Serializer[Parameter]):
    """One governed parameter; minimum and maximum in `unit` (UCUM), null for texts."""

    code = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a field, not its own label
    unit = serializers.CharField()
    set_by = serializers.CharField()
    minimum = serializers.CharField(allow_null=True)
    maximum = serializers.CharField(allow_null=True)
    choices = serializers.ListField(child=serializers.CharField())


class WorkItemOut(serializers.Serializer[Any]):
    """One thing that waits, and the page where it is done."""

    text = serializers.CharField()
    url = serializers.CharField()
    site = serializers.CharField()


class WorkListOut(serializers.Serializer[WorkList]):
    """Things of one kind; `more` if there are more than are listed."""

    title = serializers.CharField()
    more = serializers.BooleanField()
    items = WorkItemOut(many=True)


class Parameters(RecipeView):
    """The registry."""

    @extend_schema(responses=ParameterOut(many=True))
    def get(self, request: Request) -> Response:
        """List every parameter a formula can state."""
        return Response([_shown(parameter) for parameter in PARAMETERS.values()])


class Work(RecipeView):
    """Home, for programs."""

    @extend_schema(responses=WorkListOut(many=True))
    def get(self, request: Request) -> Response:
        """List what waits for the person asking."""
        return Response([WorkListOut(one).data for one in work_lists(person(request))])


def _shown(parameter: Parameter) -> dict[str, object]:
    limits = {"minimum": parameter.minimum, "maximum": parameter.maximum}
    return {
        "code": parameter.code,
        "label": parameter.label,
        "unit": parameter.unit,
        "set_by": parameter.set_by.value,
        **{name: f"{n:f}" if parameter.is_number else None for name, n in limits.items()},
        "choices": [code for code, _ in parameter.choices],
    }
