"""A slow line and an impatient hand: what was meant once is done once."""

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from stations.shots.models import CheckShot
from tests.browser.conftest import OpenPage
from tests.browser.scene import Scene
from tests.cast import Cast

pytestmark = pytest.mark.django_db(transaction=True)
LATENCY = 1500  # milliseconds each way
TAPPED = "document.querySelector('main form button').getAttribute('aria-disabled')"


def _slow(page: Page) -> None:
    line = {"offline": False, "latency": LATENCY, "downloadThroughput": -1, "uploadThroughput": -1}
    page.context.new_cdp_session(page).send("Network.emulateNetworkConditions", line)


def _tap(page: Page) -> None:
    """Three times, by coordinates: nothing waits for what the first tap began."""
    box = page.get_by_role("button", name="Log shot").bounding_box()
    assert box
    for _ in range(3):
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.wait_for_timeout(150)


@pytest.mark.parametrize("script", [True, False])
def test_three_taps_on_a_slow_line_make_one_shot(
    cast: Cast, scene: Scene, open_page: OpenPage, script: bool
) -> None:
    address = reverse("stations:shot_log", args=[scene.slot.pk])
    page = open_page(cast.barista, address, screen="phone", script=script)
    before = CheckShot.objects.count()
    for label, text in {"Dose": "18.1", "Yield": "38.5", "Shot time": "27"}.items():
        page.get_by_label(label).first.fill(text)
    _slow(page)
    _tap(page)
    page.wait_for_url("**/shots/*/")
    assert CheckShot.objects.count() == before + 1


def test_a_button_that_was_tapped_says_so_and_is_free_again(
    cast: Cast, scene: Scene, open_page: OpenPage
) -> None:
    address = reverse("stations:shot_log", args=[scene.slot.pk])
    page = open_page(cast.barista, address, screen="phone")
    _slow(page)
    page.get_by_label("Dose").first.fill("18.1")
    page.get_by_label("Yield").first.fill("38.5")
    page.get_by_label("Shot time").first.fill("27")
    page.evaluate(f"addEventListener('submit', () => sessionStorage.tapped = {TAPPED})")
    page.get_by_role("button", name="Log shot").click()
    page.wait_for_url("**/shots/*/")
    assert page.evaluate("sessionStorage.tapped") == "true"
    page.go_back()
    page.wait_for_url(f"**{address}")
    assert page.evaluate(TAPPED) is None
