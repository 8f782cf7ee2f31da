"""What the API says of itself: errors and headers on every operation. Source: OpenAPI 3.0.3."""

from typing import Any

import pytest
from django.test import Client
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema

from tests.cast import Cast, SignedIn


@pytest.fixture(scope="module")
def described() -> dict[str, Any]:
    """The whole description."""
    schema: dict[str, Any] = SchemaGenerator().get_schema(  # type: ignore[no-untyped-call]
        request=None, public=True
    )
    return schema


def test_it_is_valid(described: dict[str, Any]) -> None:
    validate_schema(described)  # type: ignore[no-untyped-call]


def test_no_two_things_share_a_name() -> None:
    GENERATOR_STATS.reset()
    SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    told = [*GENERATOR_STATS._warn_cache, *GENERATOR_STATS._error_cache]
    assert told == []


def test_every_operation_may_answer_a_problem(described: dict[str, Any]) -> None:
    for path, operations in described["paths"].items():
        for method, operation in operations.items():
            problem = operation["responses"]["default"]["content"]
            assert list(problem) == ["application/problem+json"], (path, method)


@pytest.mark.parametrize("page", ["schema", "docs"])
def test_it_is_worked_out_for_those_signed_in_alone(
    cast: Cast, client: Client, signed_in: SignedIn, page: str
) -> None:
    assert client.get(f"/api/v1/{page}/").status_code == 401
    assert signed_in(cast.barista).get(f"/api/v1/{page}/").status_code == 200


def _headers(described: dict[str, Any], path: str, method: str) -> set[str]:
    parameters = described["paths"][path][method].get("parameters", [])
    return {p["name"] for p in parameters if p["in"] == "header"}


@pytest.mark.parametrize(
    ("path", "method", "headers"),
    [
        ("/api/v1/people/", "get", set()),
        ("/api/v1/people/", "post", {"Idempotency-Key"}),
        ("/api/v1/people/{id}/", "put", {"If-Match"}),
        ("/api/v1/people/{id}/deactivate/", "post", {"Idempotency-Key", "If-Match"}),
        ("/api/v1/tastings/{id}/lock/", "post", {"Idempotency-Key", "If-Match"}),
        ("/api/v1/change-requests/{id}/take-back/", "post", {"Idempotency-Key", "If-Match"}),
    ],
)
def test_the_headers_a_handler_asks_for_are_named(
    described: dict[str, Any], path: str, method: str, headers: set[str]
) -> None:
    assert _headers(described, path, method) == headers
