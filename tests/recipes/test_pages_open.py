"""Every page of recipes opens for those it is for, in a fixed number of queries."""

from datetime import date

from django.urls import reverse

from recipes.coffees.actions import add_lot
from recipes.coffees.models import Recipe
from recipes.requests.actions import make_request
from tests.cast import Cast, SignedIn
from tests.recipes.shelf import make_approved, make_draft, make_in_review, number


def test_versions_pages(cast: Cast, signed_in: SignedIn, recipe: Recipe) -> None:
    browser = signed_in(cast.second_roaster)
    add_lot(by=cast.head_roaster, coffee=recipe.coffee, code="L1", roasted_on=date(2026, 1, 2))
    approved = make_approved(cast, recipe)
    waiting, draft = make_in_review(cast, recipe), make_draft(cast, recipe)
    for name, version in [
        ("version", approved),
        ("version", waiting),
        ("version", draft),
        ("version_edit", draft),
        ("version_return", waiting),
        ("version_approve", waiting),
        ("version_withdraw", approved),
    ]:
        page = browser.get(reverse(f"recipes:{name}", args=[version.pk]))
        assert page.status_code == 200, name
        assert str(recipe.coffee.name) in page.content.decode()
    request = make_request(
        by=cast.shop_lead, base=approved, site=cast.site, reason="sour",
        proposals={"brew_temperature": number("94.0")},
    )  # fmt: skip
    for address in [
        "/",
        "/coffees/",
        "/coffees/add/",
        f"/coffees/{recipe.coffee_id}/",
        f"/coffees/{recipe.coffee_id}/edit/",
        f"/coffees/{recipe.coffee_id}/lots/add/",
        "/recipes/",
        "/recipes/add/",
        f"/recipes/{recipe.pk}/",
        f"/recipes/{recipe.pk}/compare/",
        f"/recipes/{recipe.pk}/compare/?old=1&new=3",
        "/requests/",
        f"/requests/{request.pk}/",
        f"/requests/new/?version={approved.pk}",
    ]:
        page = browser.get(address)
        assert page.status_code == 200, address
