"""Errors of the API as problem details. Source of the shape: RFC 9457, section 3."""

import json
from typing import Any

import jsonschema
import pytest
from django.http import HttpResponse
from django.test import Client
from rest_framework.test import APIClient

from people.tokens.models import Scope
from tests.cast import ApiAs, Cast, InPerson
from web.errors import KINDS, kind_of_status

# RFC 9457, 3.1: type and instance are URI references, title and detail strings, status the number
# that was sent; 3.2: further members are allowed.
SHAPE: dict[str, Any] = {
    "type": "object",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string", "minLength": 1},
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "detail": {"type": "string", "minLength": 1},
        "instance": {"type": "string", "format": "uri-reference"},
        "problems": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["field", "value", "allowed"],
                "additionalProperties": {"type": "string"},
            },
        },
    },
}
KEY = {"Idempotency-Key": "one-and-only"}


def problem(answer: HttpResponse, status: int) -> dict[str, Any]:
    """The body, held against the RFC's shape."""
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = json.loads(answer.content)
    jsonschema.validate(body, SHAPE)
    assert body["status"] == status
    return body


def test_every_value_that_is_wrong_is_named(cast: Cast, api_in_person: InPerson) -> None:
    wrong = {"name": "", "scopes": ["fly"], "days": "soon"}
    body = problem(api_in_person(cast.owner).post("/api/v1/tokens/", wrong, headers=KEY), 400)
    named = {p["field"]: p for p in body["problems"]}
    assert set(named) == {"name", "scopes[0]", "days"}
    assert named["days"]["value"] == "soon"
    assert named["scopes[0]"]["value"] == "fly"
    assert all(p["allowed"] for p in named.values())
    assert "soon" in body["detail"]


def test_what_an_action_finds_wrong_has_the_same_shape(cast: Cast, api_in_person: InPerson) -> None:
    wrong = {"name": "New", "email": "owner@example.com"}
    body = problem(api_in_person(cast.owner).post("/api/v1/people/", wrong, headers=KEY), 400)
    assert [p["field"] for p in body["problems"]] == ["email"]


def test_a_password_is_never_sent_back(cast: Cast, api_in_person: InPerson) -> None:
    client = api_in_person(cast.owner)
    tag = client.get("/api/v1/policy/")["ETag"]
    wrong = {"password": "my secret words", "email": "?", "sole_roaster": "?", "boiling": "?"}
    answer = client.put("/api/v1/policy/", wrong, headers={"If-Match": tag})
    problem(answer, 400)
    assert b"secret" not in answer.content


def test_a_refusal_says_who_may_and_how_to_ask(cast: Cast, api_as: ApiAs) -> None:
    body = problem(api_as(cast.barista).get("/api/v1/people/"), 403)
    assert body["who_may"] == "an owner"
    assert body["how_to_ask"]


@pytest.mark.parametrize("path", ["/api/v1/nothing/here", "/api/v1/people/999999/"])
def test_nothing_there(cast: Cast, api_as: ApiAs, path: str) -> None:
    problem(api_as(cast.owner).get(path), 404)


def test_not_signed_in(db: None) -> None:
    answer = APIClient().get("/api/v1/me/")
    problem(answer, 401)
    assert answer["WWW-Authenticate"].startswith("Bearer")


def test_method_media_type_and_json(cast: Cast, api_in_person: InPerson) -> None:
    client = api_in_person(cast.owner)
    problem(client.delete("/api/v1/me/"), 405)

    def post(body: bytes, kind: str) -> HttpResponse:
        return client.post("/api/v1/tokens/", body, content_type=kind, headers=KEY)

    problem(post(b"a=1", "text/plain"), 415)
    for broken in (b"{", b"[" * 100_000, b'{"days": NaN}', b'{"name": "\\ud800"}', b"\xff"):
        problem(post(broken, "application/json"), 400)


def test_a_token_without_the_scope(cast: Cast, api_as: ApiAs) -> None:
    problem(api_as(cast.owner, Scope.READ).post("/api/v1/tokens/", {}, headers=KEY), 403)
    problem(api_as(cast.owner, Scope.GATEWAY).get("/api/v1/me/"), 403)


def test_each_type_is_explained(db: None, client: Client) -> None:
    explained = client.get("/api/v1/problems/").json()
    assert {kind["type"] for kind in explained} == {kind.uri for kind in KINDS}
    assert len({kind.slug for kind in KINDS}) == len(KINDS)
    # Those that share a number say more than the first of them, which any error of it is.
    shared = [kind.slug for kind in KINDS if kind_of_status(kind.status) is not kind]
    assert shared == ["signature", "clock", "replayed", "revoked"]
