"""What my station still needs today stands on the first screen of a phone: no tap, no scroll."""

from datetime import time

import pytest
from playwright.sync_api import Page, expect

from stations.equipment.actions import add_station
from stations.equipment.models import Station
from stations.opening.actions import set_opening
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits, touchable
from tests.browser.scene import Scene
from tests.cast import Cast

PHONE = {"width": 390, "height": 844}


def first_screen(page: Page) -> None:
    """Every station of the site, and everything that it needs, lies on it whole."""
    stations = page.locator(".today").first.locator(".stations li")
    assert stations.count() >= 2
    for line in stations.all():
        expect(line).to_be_in_viewport(ratio=1)
    expect(page.locator(".today").first.locator(".rest, .stations").last).to_be_in_viewport()
    assert page.evaluate("scrollY") == 0


@pytest.mark.parametrize("who", ["barista", "shop_lead", "technician"])
def test_the_first_screen_says_what_my_station_needs(
    open_page: OpenPage, cast: Cast, scene: Scene, who: str
) -> None:
    page = open_page(getattr(cast, who), "/", screen="phone")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    first_screen(page)
    fits(page)
    touchable(page)
    axe(page)


def test_a_large_bar_has_a_line_for_each_station(
    open_page: OpenPage, cast: Cast, scene: Scene
) -> None:
    machine = Station.objects.select_related("machine__site").get(pk=scene.station.pk).machine
    for number in range(20, 27):
        add_station(by=cast.owner, machine=machine, number=number, slots=2)
    page = open_page(cast.shop_lead, "/", screen="phone")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    first_screen(page)
    fits(page)
    touchable(page)
    axe(page)
    page.locator(".today summary", has_text="station 26").click()
    page.get_by_role("link", name="Never calibrated").click()
    page.wait_for_url("**/stations/*/#calibrations")


def test_one_tap_leads_to_the_station(open_page: OpenPage, cast: Cast, scene: Scene) -> None:
    page = open_page(cast.barista, "/", screen="phone")
    station = Station.objects.get(pk=scene.station.pk)
    page.get_by_role("link", name=f"{station.machine}, station {station.number}").first.click()
    page.wait_for_url(f"**/at/{station.code}/")


def test_one_tap_from_what_is_missing_to_its_shot_card(
    open_page: OpenPage, cast: Cast, scene: Scene
) -> None:
    set_opening(
        by=cast.shop_lead, site=scene.site, revision=0, shots=1, counts_from=time(4),
        opens_at=time(7),
    )  # fmt: skip
    page = open_page(cast.barista, "/", screen="phone")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    first_screen(page)
    fits(page)
    page.locator(".today .stations a", has_text="checked").first.click()
    expect(page.get_by_label("Yield")).to_be_focused()
    expect(page.locator(".opening a").first).to_be_visible()
    fits(page)
    axe(page)
