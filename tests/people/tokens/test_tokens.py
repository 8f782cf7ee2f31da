"""Tokens: only the hash is kept; scopes, expiry and revocation hold."""

import hashlib
import uuid
from collections.abc import Collection
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone
from rest_framework.test import APIClient

from audit.capture.models import Entry
from audit.errors import Invalid, NotFound, NotPermitted
from people.persons.models import User
from people.tokens.actions import make_token, revoke_token
from people.tokens.models import ApiToken, Scope
from tests.cast import ApiAs, Cast, SignedIn


def _make(by: User, *scopes: Scope) -> tuple[ApiToken, str]:
    return make_token(by=by, name="Counter tablet", scopes=scopes or (Scope.READ,), days=30)


def test_only_the_hash_is_at_rest(cast: Cast) -> None:
    token, secret = _make(cast.owner)
    assert token.digest == hashlib.sha256(secret.encode()).hexdigest()
    with connection.cursor() as cursor:
        cursor.execute("SELECT t::text FROM people_apitoken t")
        assert secret not in str(cursor.fetchall())
        cursor.execute("SELECT e::text FROM audit_entry e")
        assert secret not in (history := str(cursor.fetchall()))
    assert token.digest not in history


def test_two_secrets_are_never_alike_and_long_enough(cast: Cast) -> None:
    secrets = {_make(cast.owner)[1] for _ in range(20)}
    assert len(secrets) == 20
    assert all(len(secret) >= 43 for secret in secrets)  # 256 bits in base64url


def test_a_token_signs_its_owner_in(cast: Cast, api_as: ApiAs) -> None:
    answer = api_as(cast.barista).get("/api/v1/me/")
    assert answer.status_code == 200
    assert answer.json()["name"] == "Barista"


def _answer_to(secret: str) -> int:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    answer = client.get("/api/v1/me/")
    if answer.status_code == 401:
        assert answer["WWW-Authenticate"].startswith("Bearer")
    return answer.status_code


def test_unknown_revoked_and_expired_ones_do_not(cast: Cast) -> None:
    token, secret = _make(cast.owner)
    assert [_answer_to(s) for s in (secret, secret + "x", token.digest, "", "\x7f")] == [
        200,
        401,
        401,
        401,
        401,
    ]
    revoke_token(by=cast.owner, token=token)
    assert _answer_to(secret) == 401
    other, secret = _make(cast.owner)
    ApiToken.objects.filter(pk=other.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert _answer_to(secret) == 401


def test_its_use_is_noted_to_the_hour_and_not_in_the_history(cast: Cast) -> None:
    token, secret = _make(cast.owner)
    _answer_to(secret)
    token.refresh_from_db()
    first = token.last_used_at
    _answer_to(secret)
    token.refresh_from_db()
    assert first
    assert token.last_used_at == first
    assert Entry.objects.filter(table_name="people_apitoken").count() == 1


@pytest.mark.parametrize(
    ("field", "name", "scopes", "days"),
    [
        ("name", "", ["read"], 1),
        ("name", "x" * 61, ["read"], 1),
        ("scopes", "t", [], 1),
        ("scopes", "t", ["everything"], 1),
        ("scopes", "t", ["gateway", "read"], 1),
        ("days", "t", ["read"], 0),
        ("days", "t", ["read"], 367),
    ],
)
def test_bad_values_are_named(
    cast: Cast, field: str, name: str, scopes: Collection[str], days: int
) -> None:
    with pytest.raises(Invalid) as refused:
        make_token(by=cast.owner, name=name, scopes=scopes, days=days)
    assert refused.value.field == field


def test_ones_own_or_as_owner_anybodys_is_revoked_once(cast: Cast) -> None:
    token = _make(cast.barista)[0]
    with pytest.raises(NotPermitted):
        revoke_token(by=cast.head_roaster, token=token)
    revoke_token(by=cast.owner, token=token, reason="Its till is gone")
    with pytest.raises(NotFound):
        revoke_token(by=cast.barista, token=token)


def test_the_database_knows_the_scopes(cast: Cast) -> None:
    token = _make(cast.owner)[0]
    for scopes in ([], ["everything"]):
        with pytest.raises(IntegrityError), transaction.atomic():
            ApiToken.objects.filter(pk=token.pk).update(scopes=scopes)


def test_somebody_signed_in_makes_any(cast: Cast, signed_in: SignedIn) -> None:
    body = {"name": "more", "scopes": ["sign"], "days": 366}
    key = {"Idempotency-Key": uuid.uuid4().hex}
    browser = signed_in(cast.owner)
    answer = browser.post("/api/v1/tokens/", body, content_type="application/json", headers=key)
    assert answer.status_code == 201
    in_a_year = timezone.now() + timedelta(days=365)
    assert ApiToken.objects.get(name="more").expires_at > in_a_year
