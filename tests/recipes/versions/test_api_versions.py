"""The main way over the API: from a coffee to an approved version."""

import pytest
from rest_framework.test import APIClient

from audit.capture.models import Entry
from people.tokens.models import Scope
from recipes.versions.models import Version
from tests.calling import act, etag, put
from tests.cast import PASSWORD, ApiAs, Cast
from tests.recipes.shelf import make_approved, make_in_review, make_recipe

CONTENT = {
    "dose_mass": {"target": "18.0", "below": "0.1", "above": "0.1"},
    "beverage_mass": {"target": 36.0, "unit": "g"},
    "water_volume": {"target": "70"},
    "brew_temperature": {"target": "93.0", "unit": "Cel"},
    "ends_by": {"text": "volume"},
}


@pytest.fixture
def head(cast: Cast, api_as: ApiAs) -> APIClient:
    return api_as(cast.head_roaster)


@pytest.fixture
def second(cast: Cast, api_as: ApiAs) -> APIClient:
    return api_as(cast.second_roaster)


def test_from_coffee_to_approval(cast: Cast, head: APIClient, second: APIClient) -> None:
    coffee = act(head, "coffees/", {"name": "House", "rest_from": 7, "rest_to": 30}).json()
    lot = act(head, f"coffees/{coffee['id']}/lots/", {"code": "A", "roasted_on": "2026-01-02"})
    recipe = act(head, "recipes/", {"coffee": coffee["id"], "drink": "espresso"}).json()
    assert recipe["name"] == "House · espresso"
    made = act(head, f"recipes/{recipe['id']}/versions/", {"lot": lot.json()["id"]})
    assert made.status_code == 201
    path = f"versions/{made.json()['id']}/"
    body = {"formula": CONTENT, "note": "First", "lot": lot.json()["id"]}
    saved = put(head, f"{path}formula/", body, made["ETag"])
    assert saved.status_code == 200
    assert saved.json()["formula"]["beverage_mass"]["target"] == "36.0"
    assert saved.json()["brew_ratio"] == "2.00"
    waiting = act(head, f"{path}submit/", if_match=saved["ETag"]).json()
    assert waiting["state"] == "in_review"
    seen = second.get(f"/api/v1/{path}").json()["content_digest"]
    signed = {"digest": seen, "email": cast.second_roaster.email, "password": PASSWORD}
    approved = act(second, f"{path}approve/", signed).json()
    assert (approved["state"], approved["signature"]["name"]) == ("approved", "Second roaster")
    line = Entry.objects.get(action="version.approved", table_name="recipes_version")
    assert (line.channel, line.actor) == ("api", "Second roaster")


def test_a_repeated_call_acts_once(head: APIClient, draft: Version) -> None:
    path = f"/api/v1/recipes/{draft.recipe_id}/versions/"
    first, again = (
        head.post(path, {}, headers={"Idempotency-Key": "the-same-key"}) for _ in range(2)
    )
    assert first.json() == again.json()
    assert again["Idempotent-Replay"] == "true"
    assert draft.recipe.versions.count() == 2
    assert head.post(path, {}).status_code == 400


def test_edits_name_what_they_were_made_from(head: APIClient, draft: Version) -> None:
    path = f"versions/{draft.pk}/formula/"
    body = {"formula": CONTENT}
    assert head.put(f"/api/v1/{path}", body).status_code == 428
    tag = etag(head, path)
    assert put(head, path, {**body, "note": "A"}, tag).status_code == 200
    stale = put(head, path, {**body, "note": "B"}, tag)
    assert stale.status_code == 412
    assert stale.json()["current_revision"] == draft.revision + 1
    assert act(head, f"versions/{draft.pk}/submit/").status_code == 428
    assert act(head, f"versions/{draft.pk}/submit/", if_match=tag).status_code == 412


def test_what_is_read_can_be_put_back(head: APIClient, draft: Version) -> None:
    path = f"versions/{draft.pk}/formula/"
    read = head.get(f"/api/v1/{path}")
    same = put(head, path, read.json(), read["ETag"])
    assert (same.status_code, same.json()["revision"]) == (200, draft.revision)
    cached = head.get(f"/api/v1/{path}", headers={"If-None-Match": read["ETag"]})
    assert cached.status_code == 304


def test_return_comment_and_withdraw(second: APIClient, in_review: Version) -> None:
    path = f"versions/{in_review.pk}/"
    assert act(second, f"{path}comments/", {"text": "Nice"}).status_code == 201
    seen = etag(second, path)
    said: dict[str, object] = {"comments": {"": "Hotter", "dose_mass": "Less"}}
    assert act(second, f"{path}return/", {"comments": {"": " "}}, if_match=seen).status_code == 400
    assert act(second, f"{path}return/", said).status_code == 428
    back = act(second, f"{path}return/", said, if_match=seen)
    assert (back.status_code, back.json()["state"]) == (200, "draft")
    listed = second.get(f"/api/v1/{path}comments/").json()["results"]
    assert [(c["code"], c["text"]) for c in listed] == [
        ("dose_mass", "Less"),
        ("", "Hotter"),
        ("", "Nice"),
    ]
    assert act(second, f"{path}withdraw/", {}, if_match=back["ETag"]).status_code == 400
    why = {"reason": "x"}
    assert act(second, f"{path}withdraw/", why).status_code == 428
    assert act(second, f"{path}withdraw/", why, if_match=seen).status_code == 412
    gone = act(second, f"{path}withdraw/", why, if_match=back["ETag"])
    assert gone.json()["state"] == "withdrawn"


def test_lists_and_filters(cast: Cast, head: APIClient, approved: Version) -> None:
    make_in_review(cast, approved.recipe)
    make_approved(cast, make_recipe(cast, "filter"))
    query = {"recipe": str(approved.recipe_id), "state": "in_review"}
    found = head.get("/api/v1/versions/", query).json()["results"]
    assert [v["number"] for v in found] == [2]
    page = head.get("/api/v1/versions/", {"limit": 1}).json()
    assert len(page["results"]) == 1
    assert page["next"]
    for bad in ({"state": "ripe"}, {"recipe": "x"}, {"recipe": "0"}, {"limit": "x"}):
        assert head.get("/api/v1/versions/", bad).status_code == 400


def test_two_versions_compared(cast: Cast, head: APIClient, approved: Version) -> None:
    make_in_review(cast, approved.recipe)
    url = f"/api/v1/recipes/{approved.recipe_id}/compare/"
    assert head.get(url, {"old": 1, "new": 2}).json()["differs"] == []
    assert head.get(url, {"old": 1, "new": 3}).status_code == 400
    assert head.get(url).status_code == 400


def test_scopes_of_tokens(cast: Cast, api_as: ApiAs, in_review: Version) -> None:
    reader, actor = (api_as(cast.second_roaster, s) for s in (Scope.READ, Scope.ACT))
    path = f"versions/{in_review.pk}/"
    assert reader.get(f"/api/v1/{path}").status_code == 200
    assert act(reader, f"{path}withdraw/", {"reason": "x"}).status_code == 403
    signed = {
        "digest": in_review.content_digest,
        "email": cast.second_roaster.email,
        "password": PASSWORD,
    }
    assert act(actor, f"{path}approve/", signed).status_code == 403
    assert APIClient().get(f"/api/v1/{path}").status_code == 401
