"""Endpoints on people, tokens and policy."""

import uuid

import pytest
from rest_framework.test import APIClient

from audit.capture.models import Entry
from people.persons.actions import assign_role
from people.persons.models import Assignment
from people.signatures.models import Signature
from people.tokens.models import ApiToken, Scope
from tests.cast import PASSWORD, ApiAs, Cast, InPerson
from tests.recipes.shelf import make_in_review, make_recipe

API = "/api/v1"


@pytest.fixture
def client(cast: Cast, api_in_person: InPerson) -> APIClient:
    """The owner, signed in."""
    return api_in_person(cast.owner)


def _key() -> dict[str, str]:
    return {"Idempotency-Key": uuid.uuid4().hex}


def test_a_person_is_added_given_a_role_and_ended(cast: Cast, client: APIClient) -> None:
    new = {"name": "New", "email": "new@example.com"}
    added = client.post(f"{API}/people/", new, headers=_key())
    url = f"{API}/people/{added.json()['id']}/"
    role = {"role": "barista", "site": cast.site.pk}
    given = client.post(f"{url}assignments/", role, headers=_key())
    assert (given.status_code, given.json()["site_name"]) == (201, "Harbour")
    read = client.get(url)
    assert [a["role"] for a in read.json()["assignments"]] == ["barista"]
    match = {"If-Match": read["ETag"], **_key()}
    ended = client.post(f"{url}deactivate/", headers=match)
    assert ended.json()["is_active"] is False
    again = client.post(f"{url}reactivate/", headers={"If-Match": ended["ETag"], **_key()})
    assert again.json()["is_active"] is True
    invited = client.post(f"{url}invitation/", headers=_key())
    assert "/account/password/reset/key/" in invited.json()["link"]
    gone = client.delete(f"{url}assignments/{given.json()['id']}/")
    assert gone.status_code == 204
    assert not Assignment.objects.filter(user_id=added.json()["id"]).exists()


@pytest.mark.parametrize("who", ["head_roaster", "shop_lead", "barista", "technician"])
def test_people_are_the_owners(cast: Cast, api_as: ApiAs, who: str) -> None:
    client, url = api_as(cast.everyone()[who]), f"{API}/people/{cast.barista.pk}/"
    key = {**_key(), "If-Match": '"user-1-1"'}
    answers = [
        client.get(f"{API}/people/"),
        client.get(url),
        client.post(f"{API}/people/", {}, headers=key),
        client.put(url, {}, headers=key),
        client.post(f"{url}deactivate/", headers=key),
        client.post(f"{url}reactivate/", headers=key),
        client.post(f"{url}invitation/", headers=key),
        client.post(f"{url}assignments/", {}, headers=key),
        client.delete(f"{url}assignments/1/"),
    ]
    assert {answer.status_code for answer in answers} == {403}


def test_me_says_what_i_may(cast: Cast, api_as: ApiAs) -> None:
    me = api_as(cast.barista).get(f"{API}/me/").json()
    assert me["assignments"][0]["site_name"] == "Harbour"
    assert set(me["verbs"]) == {
        "recipe.view",
        "slot.view",
        "equipment.view",
        "shot.log",
        "lot.open",
        "grinder.set",
        "handover.write",
        "token.make",
    }


def test_tokens_are_made_listed_and_revoked(cast: Cast, api_in_person: InPerson) -> None:
    client = api_in_person(cast.barista)
    body = {"name": "tablet", "scopes": ["read"]}
    made = client.post(f"{API}/tokens/", body, headers=_key()).json()
    assert made["secret"].startswith(made["hint"])
    listed = client.get(f"{API}/tokens/").json()["results"]
    assert [t["name"] for t in listed] == ["tablet"]
    assert "secret" not in listed[0]
    other = api_in_person(cast.shop_lead).post(f"{API}/tokens/{made['id']}/revoke/", headers=_key())
    assert other.status_code == 404
    assert client.post(f"{API}/tokens/{made['id']}/revoke/", headers=_key()).status_code == 200
    assert ApiToken.objects.get(pk=made["id"]).state == "revoked"


def _policy(client: APIClient, **changed: object) -> int:
    tag = client.get(f"{API}/policy/")["ETag"]
    body = {"sole_roaster": True, "boiling": "refuse", "password": PASSWORD, **changed}
    return int(client.put(f"{API}/policy/", body, headers={"If-Match": tag}).status_code)


def _approval(cast: Cast, client: APIClient, **typed: str) -> int:
    """A signature by a token: what no page is needed for."""
    version = make_in_review(cast, make_recipe(cast, uuid.uuid4().hex))
    address = f"{API}/versions/{version.pk}/approve/"
    seen = client.get(f"{API}/versions/{version.pk}/").json()["content_digest"]
    body = {"digest": seen, "password": PASSWORD, **typed}
    return int(client.post(address, body, headers=_key()).status_code)


def test_signing_by_token_needs_address_and_password_every_time(cast: Cast, api_as: ApiAs) -> None:
    client, email = api_as(cast.second_roaster), cast.second_roaster.email
    assert _approval(cast, client) == 400
    assert _approval(cast, client, email=email) == 200
    assert _approval(cast, client) == 400
    assert Signature.objects.filter(user=cast.second_roaster).count() == 1


def test_and_the_scope_to_sign(cast: Cast, api_as: ApiAs) -> None:
    acting = api_as(cast.second_roaster, Scope.READ, Scope.ACT)
    assert _approval(cast, acting, email=cast.second_roaster.email) == 403
    tried = Entry.objects.get(operation="refused")
    assert (tried.actor, tried.action, tried.subject) == (
        "Second roaster",
        "endpoint.refused",
        "test",
    )


def test_anybody_reads_the_policy_and_only_an_owner_sets_it(
    cast: Cast, api_in_person: InPerson
) -> None:
    roaster = api_in_person(cast.head_roaster)
    assert roaster.get(f"{API}/policy/").json()["boiling"] == "acknowledge"
    assert _policy(roaster, email=cast.head_roaster.email) == 403


@pytest.mark.parametrize("site", [0, -1, 2**63, 10**30])
def test_a_site_that_can_be_none_is_refused_by_name(
    cast: Cast, api_in_person: InPerson, site: int
) -> None:
    assign_role(by=cast.owner, person=cast.barista, role="owner", site_id=cast.site.pk)
    url = f"{API}/people/{cast.shop_lead.pk}/assignments/"
    body = {"role": "barista", "site": site}
    answer = api_in_person(cast.barista).post(url, body, headers=_key())
    assert answer.status_code == 400
    assert answer.json()["problems"][0]["field"] == "site"
