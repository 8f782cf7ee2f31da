"""Asking for one changed value from the bar: three taps and the reason, counted."""

import pytest
from playwright.sync_api import expect

from recipes.requests.models import ChangeRequest
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe
from tests.browser.scene import Scene
from tests.cast import Cast

pytestmark = pytest.mark.django_db(transaction=True)


def test_one_value_takes_three_taps_and_the_reason(
    cast: Cast, scene: Scene, open_page: OpenPage
) -> None:
    page = open_page(cast.shop_lead, scene.slot.get_absolute_url(), screen="phone")
    before = set(ChangeRequest.objects.values_list("pk", flat=True))
    page.get_by_role("link", name="Ask for a change").first.click()  # 1
    axe(page)
    typed = "main form input:visible:not([type=checkbox]), main form select:visible"
    boxes = page.locator(typed).count()
    assert boxes <= 12, "only values in use stand open"
    page.get_by_label("Brew temperature in").click()  # 2
    page.keyboard.press("Control+A")
    page.keyboard.type("94,0")
    page.keyboard.press("Tab")
    while not page.evaluate("document.activeElement.name === 'reason'"):
        page.keyboard.press("Tab")  # the keyboard's own next key
    page.keyboard.type("Sour")
    page.get_by_role("button", name="Send the request").click()  # 3
    expect(page.get_by_text("is with the head roasters")).to_be_visible()
    asked = ChangeRequest.objects.exclude(pk__in=before).get()
    assert list(asked.proposed) == ["brew_temperature"]
