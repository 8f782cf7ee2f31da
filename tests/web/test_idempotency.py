"""Repeated acting requests are answered again, not carried out again.

After draft-ietf-httpapi-idempotency-key-header, sections 2.6 and 2.7 (from memory): 400 without
the key, 422 for the key with another body, 409 while the first is still under way.
"""

from datetime import timedelta

import pytest
from django.db import connection
from django.utils import timezone
from rest_framework.test import APIClient

from people.persons.models import User
from people.tokens.models import ApiToken
from tests.cast import Cast, InPerson
from web.idempotency import forget_old_keys
from web.models import IdempotencyKey

PEOPLE = "/api/v1/people/"
NEW = {"name": "New", "email": "new@example.com"}


@pytest.fixture
def client(cast: Cast, api_in_person: InPerson) -> APIClient:
    """The owner, by the session of a browser."""
    return api_in_person(cast.owner)


@pytest.mark.parametrize("key", [None, "", "short", "sp ace key", "x" * 101, "ünicode-key"])
def test_without_a_usable_key_nothing_is_done(client: APIClient, key: str | None) -> None:
    headers = {} if key is None else {"Idempotency-Key": key}
    answer = client.post(PEOPLE, NEW, headers=headers)
    assert answer.status_code == 400
    assert "Idempotency-Key" in answer.json()["detail"]
    assert not User.objects.filter(email=NEW["email"]).exists()


def test_the_same_again_is_answered_the_same(client: APIClient) -> None:
    headers = {"Idempotency-Key": "add-new-person"}
    first = client.post(PEOPLE, NEW, headers=headers)
    again = client.post(PEOPLE, NEW, headers=headers)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    assert again["ETag"] == first["ETag"]
    assert again["Idempotent-Replay"] == "true"
    assert User.objects.filter(email=NEW["email"]).count() == 1


def test_the_key_with_something_else_is_refused(client: APIClient) -> None:
    headers = {"Idempotency-Key": "add-new-person"}
    client.post(PEOPLE, NEW, headers=headers)
    other = client.post(PEOPLE, {**NEW, "email": "other@example.com"}, headers=headers)
    elsewhere = client.post("/api/v1/tokens/", NEW, headers=headers)
    assert (other.status_code, elsewhere.status_code) == (422, 422)
    assert not User.objects.filter(email="other@example.com").exists()


def test_keys_are_each_persons_own(cast: Cast, api_in_person: InPerson) -> None:
    headers = {"Idempotency-Key": "make-a-token"}
    body = {"name": "mine", "scopes": ["read"], "days": 1}
    for person in (cast.owner, cast.barista):
        answer = api_in_person(person).post("/api/v1/tokens/", body, headers=headers)
        assert answer.status_code == 201
    assert ApiToken.objects.filter(name="mine").count() == 2


def test_an_attempt_that_changed_nothing_leaves_the_key_free(client: APIClient) -> None:
    headers = {"Idempotency-Key": "add-new-person"}
    assert client.post(PEOPLE, {**NEW, "email": "?"}, headers=headers).status_code == 400
    assert client.post(PEOPLE, NEW, headers=headers).status_code == 201


def test_secrets_are_not_kept_for_a_repetition(client: APIClient) -> None:
    headers = {"Idempotency-Key": "make-a-token"}
    body = {"name": "mine", "scopes": ["read"], "days": 1}
    secret = client.post("/api/v1/tokens/", body, headers=headers).json()["secret"]
    again = client.post("/api/v1/tokens/", body, headers=headers).json()
    assert again["secret"] is None
    with connection.cursor() as cursor:
        cursor.execute("SELECT k::text FROM people_idempotencykey k")
        assert secret not in str(cursor.fetchall())


def test_old_keys_are_forgotten(client: APIClient) -> None:
    client.post(PEOPLE, NEW, headers={"Idempotency-Key": "add-new-person"})
    assert forget_old_keys() == 0
    old = timezone.now() - timedelta(days=8)
    IdempotencyKey.objects.update(created_at=old)
    assert forget_old_keys() == 1
