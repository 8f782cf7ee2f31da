"""People, roles, tokens and policy are changed in person: by no token, by no browser left alone."""

import json
import time
import uuid
from typing import Any

import pytest
from allauth.account.internal.flows.login import AUTHENTICATION_METHODS_SESSION_KEY as NOTED
from django.test import Client

from audit.capture.models import Entry
from people.persons.models import Assignment, User
from people.policy.models import Policy
from people.tokens.actions import make_token
from people.tokens.models import ApiToken, Scope
from tests.cast import PASSWORD, ApiAs, Cast, InPerson, SignedIn


def left_alone(client: Client) -> None:
    """Five minutes go by."""
    session = client.session
    session[NOTED] = [{**each, "at": time.time() - 301} for each in session[NOTED]]
    session.save()


def calls(cast: Cast) -> list[tuple[str, str, dict[str, Any]]]:
    """Everything that manages people, as a program would ask for it."""
    person = f"/api/v1/people/{cast.second_roaster.pk}"
    token = make_token(by=cast.owner, name="other", scopes=[Scope.READ], days=1)[0]
    role = Assignment.objects.get(user=cast.barista)
    return [
        ("POST", f"{person}/invitation/", {}),
        ("POST", "/api/v1/people/", {"name": "New", "email": "new@example.com"}),
        ("PUT", f"{person}/", {"name": "Taken", "email": "mine@example.com"}),
        ("POST", f"{person}/assignments/", {"role": "owner"}),
        ("DELETE", f"/api/v1/people/{cast.barista.pk}/assignments/{role.pk}/", {}),
        ("POST", f"{person}/deactivate/", {}),
        ("POST", f"{person}/reactivate/", {}),
        ("POST", "/api/v1/tokens/", {"name": "more", "scopes": ["sign"], "days": 366}),
        ("POST", f"/api/v1/tokens/{token.pk}/revoke/", {}),
        ("PUT", "/api/v1/policy/", {"sole_roaster": True, "boiling": "refuse",
                                    "email": cast.owner.email, "password": PASSWORD}),
    ]  # fmt: skip


def changed() -> list[int]:
    """What nothing of this may move."""
    return list(Entry.objects.exclude(operation="refused").values_list("id", flat=True))


def test_no_token_manages_people(cast: Cast, api_as: ApiAs) -> None:
    program = api_as(cast.owner)
    asked, before = calls(cast), changed()
    for method, address, body in asked:
        headers = {"Idempotency-Key": uuid.uuid4().hex, "If-Match": '"seen"'}
        answer = program.generic(
            method, address, json.dumps(body), "application/json", headers=headers
        )
        assert answer.status_code == 403, (method, address)
        assert "signed in" in answer.json()["who_may"].lower()
        assert "do it there" in answer.json()["how_to_ask"]
    assert changed() == before
    assert Entry.objects.filter(operation="refused", action="endpoint.refused").exists()
    assert program.get("/api/v1/people/").status_code == 200  # it may still read


def test_a_session_left_alone_manages_nobody(cast: Cast, api_in_person: InPerson) -> None:
    client = api_in_person(cast.owner)
    left_alone(client)
    asked, before = calls(cast), changed()
    for method, address, body in asked:
        headers = {"Idempotency-Key": uuid.uuid4().hex, "If-Match": '"seen"'}
        answer = client.generic(
            method, address, json.dumps(body), "application/json", headers=headers
        )
        assert answer.status_code == 403, (method, address)
        assert "/account/reauthenticate/" in answer.json()["how_to_ask"]
    assert changed() == before
    client.post("/account/reauthenticate/", {"password": PASSWORD}, format="multipart")
    new, key = {"name": "New", "email": "new@example.com"}, {"Idempotency-Key": uuid.uuid4().hex}
    assert client.post("/api/v1/people/", new, headers=key).status_code == 201


@pytest.fixture
def alone(cast: Cast, signed_in: SignedIn) -> Client:
    """The owner's browser, five minutes later."""
    browser = signed_in(cast.owner)
    left_alone(browser)
    return browser


def pages(cast: Cast) -> list[str]:
    """Every page that manages people or changes what programs may, by its form."""
    person = f"/people/{cast.barista.pk}/"
    role = Assignment.objects.get(user=cast.barista)
    token = make_token(by=cast.owner, name="mine", scopes=[Scope.READ], days=1)[0]
    return [
        "/people/add/", person, f"{person}roles/", f"{person}roles/{role.pk}/take/",
        f"{person}invitation/", f"{person}end-sign-in/", f"{person}allow-sign-in/",
        "/policy/", "/account/tokens/", f"/account/tokens/{token.pk}/revoke/",
    ]  # fmt: skip


def test_every_page_asks(cast: Cast, alone: Client) -> None:
    asked, before = pages(cast), changed()
    for address in asked:
        answer = alone.post(address, {})
        assert answer["Location"].startswith("/account/reauthenticate/?next="), address
        assert alone.get(answer["Location"]).status_code == 200
    assert changed() == before


def test_what_was_typed_is_there_again_and_not_yet_done(cast: Cast, alone: Client) -> None:
    asks = alone.post("/people/add/", {"name": "New lead", "email": "new@example.com"})
    back = alone.post(asks["Location"], {"password": PASSWORD})
    assert back["Location"] == "/people/add/"
    page = alone.get(back["Location"]).content.decode()
    assert 'value="New lead"' in page
    assert 'value="new@example.com"' in page
    assert "send it again" in page
    assert not User.objects.filter(email="new@example.com").exists()
    again = alone.post("/people/add/", {"name": "New lead", "email": "new@example.com"})
    assert User.objects.filter(email="new@example.com").exists()
    assert again.status_code == 302
    assert "New lead" not in alone.get("/people/add/").content.decode()


def test_a_role_chosen_is_chosen_again(cast: Cast, alone: Client) -> None:
    person = f"/people/{cast.barista.pk}/"
    asks = alone.post(f"{person}roles/", {"role": "technician", "site": str(cast.site.pk)})
    back = alone.post(asks["Location"], {"password": PASSWORD})
    assert back["Location"] == person
    page = alone.get(person).content.decode()
    assert '<option value="technician" selected>' in page
    assert f'<option value="{cast.site.pk}" selected>' in page


def test_a_policy_typed_keeps_no_password(cast: Cast, alone: Client) -> None:
    typed = {"revision": 1, "sole_roaster": "on", "boiling": "refuse", "email": "owner@example.com"}
    asks = alone.post("/policy/", {**typed, "password": PASSWORD})
    assert PASSWORD not in str(dict(alone.session))
    alone.post(asks["Location"], {"password": PASSWORD})
    page = alone.get("/policy/").content.decode()
    assert PASSWORD not in page
    assert page.count("checked") == 2
    assert not Policy.current().sole_roaster


def test_signing_in_is_a_confirmation(cast: Cast, client: Client) -> None:
    client.post("/account/login/", {"login": cast.owner.email, "password": PASSWORD})
    answer = client.post("/people/add/", {"name": "New", "email": "new@example.com"})
    assert answer["Location"].startswith("/people/")
    left_alone(client)
    assert "reauthenticate" in client.post("/people/add/", {})["Location"]


def test_a_token_makes_none(cast: Cast, api_as: ApiAs) -> None:
    for scope in Scope:
        key = {"Idempotency-Key": uuid.uuid4().hex}
        body = {"name": "more", "scopes": [scope], "days": 1}
        answer = api_as(cast.owner, scope).post("/api/v1/tokens/", body, headers=key)
        assert answer.status_code == 403
    assert not ApiToken.objects.filter(name="more").exists()
