"""A draft from an older version: what it undoes, and putting it on the approved one row by row."""

from typing import Any

import pytest
from django.urls import reverse

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.coffees.models import Recipe
from recipes.formula.formula import Formula
from recipes.versions.drafts import edit_draft, new_draft
from recipes.versions.models import Version
from recipes.versions.rebasing import draft_sides, newer_than_base, rebase_draft
from tests.calling import act, etag
from tests.cast import ApiAs, Cast, SignedIn
from tests.recipes.shelf import FORMULA, make_approved, number

NEWER = FORMULA | {
    "brew_temperature": number("92.0", "0.5", "0.5"),
    "water_volume": number("72", "2", "2"),
    "shot_time": number("28", "3", "3"),
}
MINE = FORMULA | {
    "beverage_mass": number("38.0", "2", "2"),
    "water_volume": number("74", "2", "2"),
}


@pytest.fixture
def behind(cast: Cast, recipe: Recipe) -> Version:
    """A draft from version 1 with changes of its own, while version 2 is approved."""
    first = make_approved(cast, recipe)
    make_approved(cast, recipe, NEWER)
    draft = new_draft(by=cast.head_roaster, recipe=recipe, based_on=first)
    return edit_draft(
        by=cast.head_roaster, version=draft, revision=draft.revision, values=MINE
    )  # fmt: skip


def approved_of(draft: Version) -> Version:
    found = newer_than_base(draft)
    assert found is not None
    return found


def move(cast: Cast, draft: Version, choices: dict[str, str], **other: Any) -> Version:  # noqa: ANN401
    given = {"revision": draft.revision, "current": approved_of(draft).pk, **other}
    return rebase_draft(by=cast.head_roaster, version=draft, choices=choices, **given)


def test_it_says_what_it_would_undo(behind: Version) -> None:
    lines = {line.code: line for line in draft_sides(behind, approved_of(behind))}
    assert {code for code, line in lines.items() if line.undoes} == {
        "brew_temperature", "shot_time",
    }  # fmt: skip
    assert {code for code, line in lines.items() if line.needs_choice} == {
        "brew_temperature", "shot_time", "water_volume",
    }  # fmt: skip
    assert "beverage_mass" in lines  # its own change, which nothing stands against


def test_row_by_row_it_moves(cast: Cast, behind: Version) -> None:
    current = approved_of(behind)
    choices = {
        "brew_temperature": "current", "shot_time": "proposed", "water_volume": "proposed",
    }  # fmt: skip
    now = move(cast, behind, choices)
    assert now.based_on == current
    says = Version.objects.get(pk=now.pk).stated
    without_time = Formula({code: each for code, each in NEWER.items() if code != "shot_time"})
    assert says == without_time | {
        "beverage_mass": MINE["beverage_mass"], "water_volume": MINE["water_volume"],
    }  # fmt: skip
    assert newer_than_base(Version.objects.get(pk=now.pk)) is None
    entry = Entry.objects.filter(action="version.rebased", table_name="recipes_version").get()
    assert entry.actor_id == cast.head_roaster.pk


def test_every_row_in_question_is_chosen(cast: Cast, behind: Version) -> None:
    with pytest.raises(Invalid) as caught:
        move(cast, behind, {"shot_time": "maybe", "dose_mass": "current"})
    assert {problem.field for problem in caught.value.problems} == {
        "brew_temperature", "dose_mass", "shot_time", "water_volume",
    }  # fmt: skip


def test_only_what_was_looked_at_is_moved(cast: Cast, behind: Version) -> None:
    choices = dict.fromkeys(("brew_temperature", "shot_time", "water_volume"), "current")
    with pytest.raises(Stale):
        move(cast, behind, choices, revision=behind.revision + 1)
    with pytest.raises(Stale):
        move(cast, behind, choices, current=behind.pk)
    with pytest.raises(NotPermitted):
        rebase_draft(
            by=cast.barista, version=behind, revision=behind.revision,
            current=approved_of(behind).pk, choices=choices,
        )  # fmt: skip
    moved = move(cast, behind, choices)
    with pytest.raises(Refused, match="already"):
        rebase_draft(
            by=cast.head_roaster, version=moved, revision=moved.revision,
            current=moved.based_on_id or 0, choices={},
        )  # fmt: skip


def test_a_draft_of_the_approved_version_is_left_alone(cast: Cast, approved: Version) -> None:
    draft = new_draft(by=cast.head_roaster, recipe=approved.recipe, based_on=approved)
    assert newer_than_base(draft) is None


def test_on_the_pages(cast: Cast, behind: Version, signed_in: SignedIn) -> None:
    browser = signed_in(cast.head_roaster)
    address = reverse("recipes:version_move", args=[behind.pk])
    for shown in (behind.get_absolute_url(), reverse("recipes:version_edit", args=[behind.pk])):
        page = browser.get(shown).content.decode()
        assert address in page
    assert "takes back what was approved" in browser.get(behind.get_absolute_url()).content.decode()
    body = {
        "revision": behind.revision, "current": approved_of(behind).pk,
        "brew_temperature": "current", "shot_time": "current",
    }  # fmt: skip
    assert browser.post(address, body).status_code == 400
    assert browser.post(address, body | {"water_volume": "current"}).status_code == 302
    assert browser.get(address).status_code == 200


def test_by_the_api(cast: Cast, behind: Version, api_as: ApiAs) -> None:
    client = api_as(cast.head_roaster)
    told = client.get(f"/api/v1/versions/{behind.pk}/move/").json()
    assert {side["code"] for side in told["sides"] if side["needs_choice"]} == {
        "brew_temperature", "shot_time", "water_volume",
    }  # fmt: skip
    choices = dict.fromkeys(("brew_temperature", "shot_time", "water_volume"), "current")
    tag = etag(client, f"versions/{behind.pk}/")
    body = {"current": told["current"], "choices": choices}
    moved = act(client, f"versions/{behind.pk}/move/", body, if_match=tag)
    assert moved.status_code == 200
    assert moved.json()["based_on"] == told["current"]
