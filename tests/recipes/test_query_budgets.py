"""Pages and lists ask a fixed number of questions, however much there is to show."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from recipes.coffees.actions import add_lot
from recipes.coffees.models import Recipe
from recipes.versions.models import Version
from tests.cast import ApiAs, Cast, SignedIn
from tests.recipes.shelf import ask, make_approved, make_draft, make_in_review, make_recipe

# Session, person and roles are three of them.
PAGES = {
    "/": 24,  # of menus: those to sign, and drafts; first steps, until something is placed
    "/coffees/": 7,
    "/coffees/{coffee}/": 9,
    "/recipes/": 7,
    "/recipes/{recipe}/": 11,
    "/recipes/{recipe}/compare/": 7,
    "/versions/{version}/": 19,  # answers, variants, and what coffee was measured to keep
    "/versions/{draft}/edit/": 13,  # one of them: the tolerances of the house
    "/requests/": 7,
    "/requests/{request}/": 12,
}
LISTS = {
    "/api/v1/coffees/": 5,
    "/api/v1/recipes/": 5,
    "/api/v1/versions/": 6,
    "/api/v1/recipes/{recipe}/versions/": 7,
    "/api/v1/versions/{version}/comments/": 8,
    "/api/v1/change-requests/": 8,  # its slots, where it asks for a permit
}


@pytest.fixture
def full(cast: Cast) -> dict[str, int]:
    """A dozen recipes with versions, lots and requests; the ids of the last of each."""
    for turn in range(12):
        recipe = make_recipe(cast, f"drink {turn}")
        for lot in range(3):
            add_lot(
                by=cast.head_roaster,
                coffee=recipe.coffee,
                code=str(lot),
                roasted_on=date(2026, 1, 1 + lot),
            )
        version = make_approved(cast, recipe)
        request = ask(cast, version)
        make_in_review(cast, recipe)
        draft = make_draft(cast, recipe)
    return _ids(recipe, version, draft, request.pk)


def _ids(recipe: Recipe, version: Version, draft: Version, request: int) -> dict[str, int]:
    return {
        "coffee": recipe.coffee_id,
        "recipe": recipe.pk,
        "version": version.pk,
        "draft": draft.pk,
        "request": request,
    }


def test_pages(cast: Cast, signed_in: SignedIn, full: dict[str, int]) -> None:
    browser = signed_in(cast.head_roaster)
    asked = {}
    for path in PAGES:
        with CaptureQueriesContext(connection) as told:
            assert browser.get(path.format(**full)).status_code == 200
        asked[path] = len(told)
    assert {path: n for path, n in asked.items() if n > PAGES[path]} == {}


def test_lists(cast: Cast, api_as: ApiAs, full: dict[str, int]) -> None:
    client = api_as(cast.head_roaster)
    client.get("/api/v1/me/")  # notes the token's use, once an hour
    asked = {}
    for path in LISTS:
        with CaptureQueriesContext(connection) as told:
            assert client.get(path.format(**full)).status_code == 200
        asked[path] = len(told)
    assert {path: n for path, n in asked.items() if n > LISTS[path]} == {}
