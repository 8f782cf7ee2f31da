"""What programs send wrongly: a 4xx with a sentence that names the field; nothing is written."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from recipes.coffees.models import Coffee, RoastLot
from recipes.requests.models import ChangeRequest
from recipes.versions.models import Version
from tests.calling import act, etag, put
from tests.cast import ApiAs, Cast
from tests.recipes.shelf import FORMULA


@pytest.fixture
def head(cast: Cast, api_as: ApiAs) -> APIClient:
    return api_as(cast.head_roaster)


def told(answer: Any, status: int = 400) -> str:  # noqa: ANN401
    """The problem's fields and sentence; the answer must be one."""
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"].startswith("application/problem+json")
    body = answer.json()
    fields = [problem["field"] for problem in body.get("problems", [])]
    return " ".join([*fields, body["detail"]])


ENTRY = [
    ({"target": "eighteen"}, "not a plain number"),
    ({"target": "18 g"}, "without its unit"),
    ({"target": "18,5"}, "comma"),
    ({"target": "NaN"}, "no quantity"),
    ({"target": "Infinity"}, "no quantity"),
    ({"target": "1e1"}, "exponent"),
    ({"target": "300"}, "from 5 to 30 g"),
    ({"target": "-18"}, "from 5 to 30 g"),
    ({"target": "9" * 500}, "too long"),
    ({"target": 10**30}, "not allowed"),
    ({"target": True}, "Not a number"),
    ({"target": ["18"]}, "Not a number"),
    ({"target": {"value": "18"}}, "Not a number"),
    ({"target": "18.0000001"}, "decimal places"),
    ({"target": "18", "below": "-1"}, "from 0 to 25 g"),
    ({"target": "18", "unit": "kg"}, "Not the unit of dose_mass"),
    ({"below": "1"}, "from 5 to 30 g"),
    ({"text": "18"}, "no text"),
    ({"targt": "18"}, "Not known here"),
    ("18.0", "dose_mass"),
    (None, "dose_mass"),
    ([], "dose_mass"),
]


@pytest.mark.parametrize(("entry", "words"), ENTRY)
def test_a_bad_entry_is_named(head: APIClient, draft: Version, entry: object, words: str) -> None:
    path = f"versions/{draft.pk}/formula/"
    body = {"formula": {"dose_mass": entry}}
    said = told(put(head, path, body, etag(head, path)))
    assert "dose_mass" in said
    assert words in said
    assert Version.objects.get(pk=draft.pk).stated == FORMULA


@pytest.mark.parametrize(
    "body",
    [
        {},
        [],
        "x",
        None,
        {"formula": None},
        {"formula": []},
        {"formula": {"colour": {"text": "brown"}}},
        {"formula": {"a" * 5000: {"text": "x"}}},
        {"formula": {"\x00": {"text": "x"}}},
        {"formula": {"grind_note": {"text": "\x00"}}},
        {"formula": {"ends_by": {"text": "gravity"}}},
        {"formula": {"ends_by": {"target": "1"}}},
        {"formula": {}, "lot": 10**9},
        {"formula": {}, "lot": 10**40},
        {"formula": {}, "lot": "A"},
        {"formula": {}, "note": "x" * 2001},
        {"formula": {}, "note": 5 * [1]},
    ],
)
def test_a_bad_body_is_told(head: APIClient, draft: Version, body: object) -> None:
    path = f"versions/{draft.pk}/formula/"
    assert told(put(head, path, body, etag(head, path)))
    assert Version.objects.get(pk=draft.pk).stated == FORMULA


def test_json_that_is_none(head: APIClient, draft: Version) -> None:
    path = f"/api/v1/versions/{draft.pk}/formula/"
    tag = {"If-Match": etag(head, f"versions/{draft.pk}/formula/")}
    for raw in (
        b"{",
        b"\xff",
        b"[" * 5000,
        b'{"formula": {"dose_mass": {"target": NaN}}}',
        b'{"formula": {"grind_note": {"text": "half \\ud800"}}}',
        b'{"formula": {"half \\ud800": {"text": "x"}}}',
        b'{"formula": "half \\ud800"}',
        b'{"formula": {}, "note": "half \\ud800"}',
        b'{"formula": {}, "lot": "half \\ud800"}',
    ):
        answer = head.put(path, raw, content_type="application/json", headers=tag)
        assert told(answer)
    assert told(head.put(path, b"a=b", content_type="text/plain", headers=tag), 415)


@pytest.mark.parametrize(
    ("path", "body", "field"),
    [
        ("coffees/", {}, "name"),
        ("coffees/", {"name": "", "rest_from": 1, "rest_to": 2}, "name"),
        ("coffees/", {"name": "A", "rest_from": "x", "rest_to": 2}, "rest_from"),
        ("coffees/", {"name": "A", "rest_from": -1, "rest_to": 2}, "rest_from"),
        ("coffees/", {"name": "A", "rest_from": 9, "rest_to": 2}, "rest_to"),
        ("coffees/", {"name": "A", "rest_from": 1.5, "rest_to": 2}, "rest_from"),
        ("coffees/", {"name": "A", "rest_from": 1, "rest_to": 10**50}, "rest_to"),
        ("recipes/", {"coffee": 10**9, "drink": "x"}, "coffee"),
        ("recipes/", {"coffee": "House", "drink": "x"}, "coffee"),
        ("recipes/", {}, "drink"),
        ("change-requests/", {}, "reason"),
        (
            "change-requests/",
            {"base": 10**9, "site": "harbour", "reason": "x", "proposals": {}},
            "base",
        ),
    ],
)
def test_other_bodies(head: APIClient, path: str, body: dict[str, object], field: str) -> None:
    assert field in told(act(head, path, body))
    assert not Coffee.objects.exists()


@pytest.mark.parametrize("day", ["", None, "yesterday", "2026-02-30", "1999-01-01", "2999-01-01"])
def test_a_lot_needs_a_day(head: APIClient, draft: Version, day: str | None) -> None:
    path = f"coffees/{draft.recipe.coffee_id}/lots/"
    assert "roasted_on" in told(act(head, path, {"code": "A", "roasted_on": day}))
    assert not RoastLot.objects.exists()


def test_foreign_and_unknown_things(cast: Cast, head: APIClient, approved: Version) -> None:
    recipe = approved.recipe_id
    for body, field in (
        ({"based_on": 10**9}, "based_on"),
        ({"lot": 10**9}, "lot"),
        ({"based_on": "x"}, "based_on"),
    ):
        assert field in told(act(head, f"recipes/{recipe}/versions/", body))
    for path in ("coffees/999999/", "recipes/999999/", "versions/999999/", "change-requests/9999/"):
        assert told(head.get(f"/api/v1/{path}"), 404)
    assert told(act(head, "versions/999999/withdraw/", {"reason": "x"}, if_match='"x"'), 404)
    nowhere = {"base": approved.pk, "site": "nowhere", "reason": "x", "proposals": {}}
    assert "site" in told(act(head, "change-requests/", nowhere))
    assert not ChangeRequest.objects.exists()


@pytest.mark.parametrize("digest", [None, "", "x", "0" * 63, "0" * 65, 7, ["0" * 64]])
def test_an_approval_names_a_digest(
    cast: Cast, api_as: ApiAs, in_review: Version, digest: object
) -> None:
    client = api_as(cast.second_roaster)
    body = {"digest": digest, "email": cast.second_roaster.email, "password": "x"}
    said = told(act(client, f"versions/{in_review.pk}/approve/", body))
    assert "digest" in said
    assert Version.objects.get(pk=in_review.pk).state == "in_review"
