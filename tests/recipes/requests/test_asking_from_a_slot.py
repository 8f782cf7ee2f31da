"""From a locked slot's page to a change request against the right version."""

import pytest

from recipes.publishing import run
from recipes.requests.models import ChangeRequest
from tests.bar import Bar, approved, draft
from tests.cast import SignedIn
from tests.publishing import Publish
from tests.recipes.publishing.test_publish import COOLER

NEWER = {"dose_mass": ("18.5", None, None), **COOLER}


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force."""
    run.run(send().pk)
    return bar


def test_the_form_is_about_what_the_slot_holds(placed: Bar, signed_in: SignedIn) -> None:
    browser, slot = signed_in(placed.cast.shop_lead), placed.slots[0]
    link = f"/requests/new/?slot={slot.pk}"
    assert link in browser.get(slot.get_absolute_url()).content.decode()
    page = browser.get(link)
    assert page.status_code == 200
    assert page.context["base"] == placed.version
    assert page.context["form"].initial["site"] == placed.cast.site.pk
    shown = {name: value for name, value in page.context["form"].initial.items() if value}
    answer = browser.post(link, {**shown, "brew_temperature": "92.0", "reason": "Bitter"})
    assert answer.status_code == 302
    assert ChangeRequest.objects.get().base == placed.version


def test_it_is_asked_of_the_newest_approved_version(placed: Bar, signed_in: SignedIn) -> None:
    """The slot still holds version 1; version 2 is approved and not published yet."""
    newer = approved(placed.cast, draft(placed.cast, NEWER, placed.version.recipe))
    page = signed_in(placed.cast.shop_lead).get(f"/requests/new/?slot={placed.slots[0].pk}")
    assert page.context["base"] == newer


def test_a_slot_that_holds_nothing_approved(bar: Bar, signed_in: SignedIn) -> None:
    page = signed_in(bar.cast.shop_lead).get(f"/requests/new/?slot={bar.slots[0].pk}")
    assert page.status_code == 409
    assert "nothing that was approved" in page.content.decode()


def test_another_site_s_slot_is_not_there(placed: Bar, signed_in: SignedIn) -> None:
    browser = signed_in(placed.cast.other_lead)
    assert browser.get(f"/requests/new/?slot={placed.slots[0].pk}").status_code == 404


@pytest.mark.parametrize("slot", ["", "x", "-1", "²", "9" * 30])
def test_what_is_no_slot(placed: Bar, signed_in: SignedIn, slot: str) -> None:
    page = signed_in(placed.cast.shop_lead).get("/requests/new/", {"slot": slot})
    assert page.status_code == 400
    assert "the number of a slot" in page.content.decode()
