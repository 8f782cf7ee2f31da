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
from tests.addresses import every_address, methods_of
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


# Pages that take what is sent and don't ask, each with the reason.
WITHOUT = {
    "people:session_end": "one's own; of somebody else it asks (tests/people/sign_in)",
    "people:sessions_end": "ends what one has open oneself",
    "people:units": "how one reads figures oneself",
    "people:notices": "what one hears of oneself",
    "people:notices_stop": "by a signed address, without sign-in",
    "people:device_add": "the browser itself, for its own person",
    "people:device_remove": "one's own",
    "people:tablet_enrol": "whoever has the code, signed in or not",
    "people:tablet_person": "asks for the PIN",
    "people:tablet_leave": "ends what is open",
    "people:tablet_rest": "ends what is open",
    "people:tablet_full": "leads to the full sign-in",
}


def test_every_page_asks(alone: Client) -> None:
    """All that takes what is sent, whatever pages there come to be."""
    before, asks = changed(), set[str]()
    for address in every_address():
        if not address.name.startswith("people:") or address.name in WITHOUT:
            continue
        answer = alone.post(address.url, {})
        if answer.status_code == 405:
            continue
        assert answer.status_code == 302, address
        assert answer["Location"].startswith("/account/reauthenticate/?next="), address
        assert alone.get(answer["Location"]).status_code == 200
        asks.add(address.name)
    assert {"people:add", "people:policy", "people:person_token_revoke", "people:pin"} <= asks
    assert changed() == before


NOT_IN_PERSON = {
    "people_api:units": "one's own choice of how figures are shown",
    "people_api:history_checks": "asks for a check, changes nothing",
    "people_api:history_reconciliations": "asks for a comparison, changes nothing",
}


def test_every_endpoint_that_changes_something_is_done_in_person(
    cast: Cast, api_as: ApiAs, api_in_person: InPerson
) -> None:
    """By no token and by no session left alone, whatever endpoints there come to be."""
    program, client = api_as(cast.owner), api_in_person(cast.owner)
    left_alone(client)
    before, asked = changed(), set[str]()
    for address in every_address():
        if not address.name.startswith("people_api:") or address.name in NOT_IN_PERSON:
            continue
        for method in methods_of(address) - {"get"}:
            headers = {"Idempotency-Key": uuid.uuid4().hex, "If-Match": '"seen"'}
            for caller in (program, client):
                answer = caller.generic(
                    method.upper(), address.url, "{}", "application/json", headers=headers
                )
                assert answer.status_code == 403, (method, address)
                assert "do it there" in answer.json()["how_to_ask"] or (
                    "/account/reauthenticate/" in answer.json()["how_to_ask"]
                )
            asked.add(address.name)
    assert {"people_api:people", "people_api:policy", "people_api:pin"} <= asked
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
