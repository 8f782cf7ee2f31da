"""What the API says of its own bodies and queries, for sweeps over all of them."""

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

from django.urls import resolve
from drf_spectacular.generators import SchemaGenerator

PARAMETERS = {
    "<int:pk>": "{id}", "<slug:code>": "{code}", "<int:assignment>": "{assignment}",
    "<int:machine_type>": "{machine_type}",
}  # fmt: skip


@cache
def description() -> dict[str, Any]:
    """The whole of it."""
    found: dict[str, Any] = SchemaGenerator().get_schema(  # type: ignore[no-untyped-call]
        request=None, public=True
    )
    return found


SIGNED: dict[str, list[str]] = {"signature": []}


def operations() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Every path with its methods and what is said of each, for people and their programs.

    What only a gateway's signature reaches is tried by one: tests/stations/gateways.
    """
    for path, methods in description()["paths"].items():
        for method, operation in methods.items():
            if SIGNED not in operation.get("security", []):
                yield path, method.upper(), operation


def template_of(url: str) -> str:
    """The described path that an address belongs to."""
    route = resolve(url).route
    return "/" + re.sub("<[^>]+>", lambda found: PARAMETERS[found[0]], route)


def body_of(url: str, method: str) -> dict[str, Any]:
    """The schema of a body's whole; empty where none is described."""
    operation = description()["paths"][template_of(url)][method.lower()]
    content = operation.get("requestBody", {}).get("content", {})
    schema = content.get("application/json", {}).get("schema", {})
    return _followed(schema)


def _followed(schema: dict[str, Any]) -> dict[str, Any]:
    if "$ref" not in schema:
        return schema
    found: dict[str, Any] = description()["components"]["schemas"][schema["$ref"].split("/")[-1]]
    return found
