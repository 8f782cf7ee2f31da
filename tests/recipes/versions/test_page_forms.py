"""What people type on pages: bad values are told beside the field, and nothing is lost."""

import pytest
from django.test import Client
from django.urls import reverse

from recipes.coffees.models import Coffee
from recipes.formula.forms import formula_initial
from recipes.versions.drafts import edit_draft
from recipes.versions.models import Version
from stations.metrology.formula import Stated
from tests.cast import Cast, SignedIn
from tests.recipes.shelf import FORMULA


@pytest.fixture
def browser(cast: Cast, signed_in: SignedIn) -> Client:
    """The head roaster's."""
    return signed_in(cast.head_roaster)


def typed(version: Version, **changed: str) -> dict[str, str]:
    """The edit form as the page shows it, with some fields typed over."""
    shown = {k: "" if v is None else str(v) for k, v in formula_initial(FORMULA).items()}
    return {**shown, "revision": str(version.revision), "note": "", "lot": "", **changed}


def edit(browser: Client, version: Version, **changed: str) -> tuple[int, str]:
    answer = browser.post(
        reverse("recipes:version_edit", args=[version.pk]), typed(version, **changed)
    )
    return answer.status_code, answer.content.decode()


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("dose_mass", "eighteen", "is not a plain number"),
        ("dose_mass", "18 s", "without its unit"),
        ("dose_mass", "18 F", "in another kind of unit"),
        ("dose_mass", "18 oz", "give a number from 0.17"),
        ("dose_mass", "1,018.5", "has a comma"),
        ("dose_mass", "NaN", "is no quantity"),
        ("dose_mass", "Infinity", "is no quantity"),
        ("dose_mass", "1e1", "has an exponent"),
        ("dose_mass", "-18", "give a number from 5 to 30 g"),
        ("dose_mass", "300", "give a number from 5 to 30 g"),
        ("dose_mass", "9" * 60, "too long"),
        ("dose_mass", "18.0000001", "at most 6 decimal places"),
        ("brew_temperature", "200", "give a number from 80 to 100 °C"),
        ("dose_mass_below", "-0.1", "give a number from 0 to 25 g"),
        ("dose_mass_above", "26", "give a number from 0 to 25 g"),
        ("ends_by", "gravity", "not one of the available choices"),
        ("grind_note", "x" * 201, "at most 200 characters"),
        ("lot", "999999", "not one of the available choices"),
        ("lot", "abc", "not one of the available choices"),
        ("revision", "", "required"),
        ("revision", "abc", "whole number"),
        ("note", "x" * 2001, "at most 2000 characters"),
    ],
)
def test_a_bad_value_is_told_and_kept(
    browser: Client, draft: Version, field: str, value: str, sentence: str
) -> None:
    status, page = edit(browser, draft, **{field: value})
    assert status == 400
    assert sentence in page
    assert 'class="error-summary"' in page
    assert Version.objects.get(pk=draft.pk).stated == FORMULA


def test_what_was_typed_stays_when_somebody_else_was_first(
    cast: Cast, browser: Client, draft: Version
) -> None:
    theirs = FORMULA | {"dose_mass": Stated()}
    edit_draft(by=cast.second_roaster, version=draft, revision=draft.revision, values=theirs)
    status, page = edit(browser, draft, dose_mass="19.25", note="Mine")
    assert status == 412
    assert "Second roaster saved this draft while you were editing" in page
    assert 'value="19.25"' in page
    assert "Mine</textarea>" in page
    now = Version.objects.get(pk=draft.pk)
    assert f'name="revision" value="{now.revision}"' in page
    # The second save is made knowingly, from what the page has just shown.
    status, _ = edit(browser, now, dose_mass="19.25", note="Mine")
    assert status == 302
    assert str(now.formula.get(code="dose_mass").target) == "19.25"


def test_what_is_submitted_meanwhile_is_not_overwritten(
    browser: Client, in_review: Version
) -> None:
    status, page = edit(browser, in_review, dose_mass="19.25")
    assert status == 409
    assert "only a version that is draft can be edited" in page
    assert 'value="19.25"' in page


def test_a_draft_is_saved_and_its_ratio_computed(browser: Client, draft: Version) -> None:
    status, _ = edit(browser, draft, beverage_mass="45")
    assert status == 302
    page = browser.get(draft.get_absolute_url()).content.decode()
    assert "1 : 2.50" in page


@pytest.mark.parametrize(
    ("url", "data", "words"),
    [
        ("coffee_add", {}, "required"),
        ("coffee_add", {"name": "A", "rest_from": "x", "rest_to": "1"}, "whole number"),
        ("coffee_add", {"name": "A", "rest_from": "-1", "rest_to": "9"}, "Allowed:"),
        ("coffee_add", {"name": "A", "rest_from": "9" * 30, "rest_to": "9"}, "Allowed:"),
        ("coffee_add", {"name": "A", "rest_from": "9", "rest_to": "2"}, "9 days or more"),
        ("coffee_add", {"name": "a\x00b", "rest_from": "1", "rest_to": "2"}, "control characters"),
        ("recipe_add", {"coffee": "999", "drink": "x"}, "not one of the available choices"),
        ("recipe_add", {"coffee": "abc", "drink": "x"}, "not one of the available choices"),
        ("recipe_add", {}, "required"),
    ],
)
def test_other_forms_tell_too(browser: Client, url: str, data: dict[str, str], words: str) -> None:
    answer = browser.post(reverse(f"recipes:{url}"), data)
    assert answer.status_code == 400
    assert words in answer.content.decode()
    assert not Coffee.objects.exists()


@pytest.mark.parametrize("day", ["", "yesterday", "2026-13-01", "1999-12-31", "2999-01-01"])
def test_a_lot_needs_a_day(browser: Client, draft: Version, day: str) -> None:
    coffee = draft.recipe.coffee
    url = reverse("recipes:lot_add", args=[coffee.pk])
    answer = browser.post(url, {"code": "A", "roasted_on": day})
    assert answer.status_code == 400
    assert not coffee.lots.exists()


def test_an_older_coffee_form_is_stale(browser: Client, draft: Version) -> None:
    coffee = draft.recipe.coffee
    url = reverse("recipes:coffee_edit", args=[coffee.pk])
    fields = {"name": coffee.name, "rest_from": "1", "rest_to": "9", "revision": "1"}
    assert browser.post(url, fields).status_code == 302
    answer = browser.post(url, {**fields, "rest_to": "8"})
    assert answer.status_code == 412
    assert 'value="8"' in answer.content.decode()
