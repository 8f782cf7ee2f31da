"""How the API describes itself: its errors, headers and number fields, said once."""

from collections.abc import Sequence
from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter
from rest_framework.serializers import Serializer

from audit.endpoint import Query

IF_MATCH = OpenApiParameter(
    "If-Match", str, OpenApiParameter.HEADER, required=True, description="The ETag you read."
)
IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="New for each thing you want done, the same when you repeat it.",
)


PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "Problem details, RFC 9457.",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "instance": {"type": "string", "format": "uri-reference"},
        "problems": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["field", "value", "allowed"],
                "properties": {
                    "field": {"type": "string"},
                    "value": {"type": "string"},
                    "allowed": {"type": "string"},
                },
            },
        },
        "who_may": {"type": "string"},
        "how_to_ask": {"type": "string"},
        "current_revision": {"type": "integer"},
    },
}


def describe_problems(
    result: dict[str, Any],
    generator: object,
    request: object,
    public: bool,
) -> dict[str, Any]:
    """Hook: every operation may answer a problem, so it is said once and referred to."""
    result.setdefault("components", {}).setdefault("schemas", {})["Problem"] = PROBLEM
    body = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    answer = {"description": "What went wrong.", "content": body}
    for operations in result["paths"].values():
        for operation in operations.values():
            operation["responses"].setdefault("default", answer)
    return result


class Schema(AutoSchema):
    """Adds the query and the headers that requests need, from how the view was written."""

    def get_override_parameters(
        self,
    ) -> list[OpenApiParameter | Serializer[Any] | type[Serializer[Any]]]:
        """What the view's `query` declares, and the headers that a decorated handler asks for.

        Idempotency-Key where it is `acting`, If-Match where it is `matching`.
        """
        handler = getattr(self.view, self.method.lower(), None)
        needed: list[OpenApiParameter | Serializer[Any] | type[Serializer[Any]]] = [*self.asked()]
        if getattr(handler, "needs_key", False):
            needed.append(IDEMPOTENCY_KEY)
        if getattr(handler, "needs_match", False):
            needed.append(IF_MATCH)
        return [*super().get_override_parameters(), *needed]

    def asked(self) -> Sequence[OpenApiParameter | type[Serializer[Any]]]:
        """What the address's query may say: on GET alone."""
        query: Query = getattr(self.view, "query", ())
        if self.method != "GET":
            return []
        return [query] if isinstance(query, type) else query


class PlainDecimalScheme(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """Exact decimals travel as strings."""

    target_class = "web.fields.PlainDecimal"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: str) -> dict[str, Any]:
        """OpenAPI's words for it."""
        return {"type": "string", "format": "decimal", "example": "18.5"}
