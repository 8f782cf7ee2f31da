"""Change requests over the API."""

import pytest
from django.urls import reverse
from rest_framework.test import APIClient

from recipes.requests.models import ChangeRequest
from recipes.versions.models import Version
from tests.calling import act, etag, put
from tests.cast import ApiAs, Cast
from tests.recipes.shelf import FORMULA, ask, make_approved, number

PROPOSALS = {"brew_temperature": {"target": "94.0", "below": "0.5", "above": "0.5"}}


@pytest.fixture
def lead(cast: Cast, api_as: ApiAs) -> APIClient:
    return api_as(cast.shop_lead)


@pytest.fixture
def head(cast: Cast, api_as: ApiAs) -> APIClient:
    return api_as(cast.head_roaster)


def test_asked_answered_accepted(
    cast: Cast, lead: APIClient, head: APIClient, approved: Version
) -> None:
    body = {"base": approved.pk, "site": "harbour", "reason": "Sour", "proposals": PROPOSALS}
    made = act(lead, "change-requests/", body)
    assert (made.status_code, made.json()["site"]) == (201, "harbour")
    path = f"change-requests/{made.json()['id']}/"
    asked = act(head, f"{path}ask-back/", {"reason": "Which grinder?"}, if_match=made["ETag"])
    assert asked.json()["state"] == "asked_back"
    change = {"proposals": PROPOSALS, "reason": "Sour on grinder two"}
    answered = put(lead, path, change, asked["ETag"])
    assert (answered.status_code, answered.json()["state"]) == (200, "open")
    stale = act(head, f"{path}accept/", {}, if_match=made["ETag"])
    assert stale.status_code == 412
    draft = act(head, f"{path}accept/", {"note": "Good point"}, if_match=answered["ETag"])
    assert (draft.status_code, draft.json()["change_request"]) == (201, made.json()["id"])
    assert draft.json()["formula"]["brew_temperature"]["target"] == "94.0"
    assert lead.get(f"/api/v1/{path}").json()["drafts"] == [draft.json()["id"]]


def test_declined_and_taken_back(
    cast: Cast, lead: APIClient, head: APIClient, approved: Version
) -> None:
    path = f"change-requests/{ask(cast, approved).pk}/"
    assert act(head, f"{path}decline/", {"reason": "x"}).status_code == 428
    tag = etag(head, path)
    assert act(head, f"{path}decline/", {"reason": " "}, if_match=tag).status_code == 400
    declined = act(head, f"{path}decline/", {"reason": "Clean first"}, if_match=tag)
    assert declined.json()["decided_by"]["name"] == "Head roaster"
    assert act(lead, f"{path}take-back/", if_match=declined["ETag"]).status_code == 409
    other = f"change-requests/{ask(cast, approved).pk}/"
    assert act(lead, f"{other}take-back/").status_code == 428
    taken = act(lead, f"{other}take-back/", if_match=etag(lead, other))
    assert taken.json()["state"] == "taken_back"


def test_who_may_what(cast: Cast, api_as: ApiAs, approved: Version) -> None:
    request = ask(cast, approved)
    path = f"change-requests/{request.pk}/"
    outsider = api_as(cast.other_lead)
    assert outsider.get(f"/api/v1/{path}").status_code == 404
    assert outsider.get("/api/v1/change-requests/").json()["results"] == []
    barista = api_as(cast.barista)
    assert barista.get(f"/api/v1/{path}").status_code == 200
    body = {"base": approved.pk, "site": "harbour", "reason": "x", "proposals": PROPOSALS}
    assert act(barista, "change-requests/", body).status_code == 403
    tag = etag(barista, path)
    assert act(barista, f"{path}accept/", {}, if_match=tag).status_code == 403
    # A site one cannot see is told like one that is not there.
    assert act(outsider, "change-requests/", body).status_code == 400
    assert ChangeRequest.objects.count() == 1


def test_rebasing(cast: Cast, lead: APIClient, head: APIClient, approved: Version) -> None:
    path = f"change-requests/{ask(cast, approved).pk}/"
    newer = FORMULA | {"brew_temperature": number("92.0", "0.5", "0.5")}
    current = make_approved(cast, approved.recipe, newer)
    overtaken = act(head, f"{path}accept/", {}, if_match=etag(head, path))
    assert overtaken.status_code == 409
    assert "Update the request to" in overtaken.json()["how_to_ask"]
    sides = lead.get(f"/api/v1/{path}rebase/").json()
    assert (sides["base"], sides["current"]) == (approved.pk, current.pk)
    [side] = sides["sides"]
    assert side["needs_choice"]
    assert [side[name]["target"] for name in ("base", "proposed", "current")] == [
        "93.0",
        "94.0",
        "92.0",
    ]
    tag = etag(lead, f"{path}rebase/")
    wrong: list[object] = [{}, {"brew_temperature": "mine"}, []]
    for bad in wrong:
        body = {"choices": bad, "current": current.pk}
        assert act(lead, f"{path}rebase/", body, if_match=tag).status_code == 400
    chosen = {"choices": {"brew_temperature": "proposed"}, "current": current.pk}
    assert act(lead, f"{path}rebase/", chosen).status_code == 428
    done = act(lead, f"{path}rebase/", chosen, if_match=tag)
    assert done.json()["base"] == current.pk


def test_sides_that_moved_on_are_sent_again_and_not_chosen_from(
    cast: Cast, lead: APIClient, approved: Version
) -> None:
    """The request itself stays at its revision while versions are approved."""
    path = f"change-requests/{ask(cast, approved).pk}/rebase/"
    cooler, coolest = (
        FORMULA | {"brew_temperature": number(degrees, "0.5", "0.5")} for degrees in ("92", "90")
    )
    seen = make_approved(cast, approved.recipe, cooler)
    tag = etag(lead, path)
    now = make_approved(cast, approved.recipe, coolest)
    again = lead.get(f"/api/v1/{path}", headers={"If-None-Match": tag})
    assert (again.status_code, again.json()["current"]) == (200, now.pk)
    chosen = {"choices": {"brew_temperature": "current"}, "current": seen.pk}
    answer = act(lead, path, chosen, if_match=tag)
    assert answer.status_code == 412
    assert "Version 3 was approved meanwhile" in answer.json()["detail"]
    assert act(lead, path, chosen | {"current": now.pk}, if_match=tag).status_code == 409


def test_filters(cast: Cast, lead: APIClient, approved: Version) -> None:
    ask(cast, approved)
    for query, count in (
        ({"state": "open"}, 1),
        ({"state": "declined"}, 0),
        ({"recipe": approved.recipe_id}, 1),
        ({"recipe": 999999}, 0),
        ({"site": cast.site.pk}, 1),
    ):
        assert len(lead.get("/api/v1/change-requests/", query).json()["results"]) == count
    assert lead.get("/api/v1/change-requests/", {"state": "ripe"}).status_code == 400


def test_reference(cast: Cast, head: APIClient, approved: Version) -> None:
    parameters = {p["code"]: p for p in head.get("/api/v1/parameters/").json()}
    assert parameters["dose_mass"] == {
        "code": "dose_mass",
        "label": "Dose",
        "unit": "g",
        "set_by": "barista",
        "minimum": "5",
        "maximum": "30",
        "choices": [],
    }
    ask(cast, approved)
    shown = head.get(reverse("recipes_api:work")).json()
    waits = {row["title"]: row["items"] for row in shown}
    assert [item["site"] for item in waits["Requests to decide"]] == ["Harbour"]
