"""Calls to the API as a program makes them."""

from typing import Any
from uuid import uuid4

from rest_framework.test import APIClient

ROOT = "/api/v1"


def act(client: APIClient, path: str, body: object = None, **headers: str) -> Any:  # noqa: ANN401
    """A POST with a fresh key; `if_match` and others by name."""
    sent = {"Idempotency-Key": uuid4().hex, **{k.replace("_", "-"): v for k, v in headers.items()}}
    return client.post(f"{ROOT}/{path}", {} if body is None else body, headers=sent)


def etag(client: APIClient, path: str) -> str:
    """The tag of what is there now."""
    tag: str = client.get(f"{ROOT}/{path}")["ETag"]
    return tag


def put(client: APIClient, path: str, body: object, tag: str) -> Any:  # noqa: ANN401
    """A PUT of what was read under that tag."""
    return client.put(f"{ROOT}/{path}", body, headers={"If-Match": tag})
