"""Twelve slots as they should be: a tick each and one to save, counted; nothing is typed."""

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from stations.equipment.models import Slot, Station
from stations.slots.models import Placement, ReadBack
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe
from tests.cast import Cast
from tests.stations.conftest import Bar, bar, place

__all__ = ["bar"]

pytestmark = pytest.mark.django_db(transaction=True)
SLOTS = 12


@pytest.fixture
def station(bar: Bar, cast: Cast) -> Station:
    for number in range(1, SLOTS + 1):
        slot, _ = Slot.objects.get_or_create(station=bar.first, number=number)
        place(slot, cast.head_roaster)
    return bar.first


def _round(open_page: OpenPage, cast: Cast, screen: str = "phone") -> Page:
    return open_page(cast.shop_lead, reverse("stations:to_key", args=[cast.site.pk]), screen=screen)


def test_twelve_slots_take_thirteen_taps(station: Station, cast: Cast, open_page: OpenPage) -> None:
    page, taps = _round(open_page, cast), 0
    axe(page)
    page.get_by_label("As shown").first.scroll_into_view_if_needed()
    for number in range(SLOTS):
        tick = page.get_by_label("As shown").nth(number)
        expect(tick).to_be_in_viewport()
        tick.click()
        taps += 1
    save = page.get_by_role("button", name="Save what was read back")
    expect(save).to_be_in_viewport()
    save.click()
    taps += 1
    expect(page.get_by_text(f"Read back: {SLOTS} match.")).to_be_visible()
    assert taps == 13
    assert ReadBack.objects.filter(verdict="matches").count() == SLOTS
    assert not Placement.objects.in_force().exclude(verdict="matches").exists()


def test_a_reload_on_the_way_loses_nothing(
    station: Station, cast: Cast, open_page: OpenPage
) -> None:
    page = _round(open_page, cast)
    page.get_by_label("As shown").nth(3).check()
    page.get_by_text("Something differs").nth(4).click()
    box = page.locator("input[name$='-water_volume']").nth(4)
    box.fill("281,0")
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    expect(page.get_by_label("As shown").nth(3)).to_be_checked()
    expect(page.locator("input[name$='-water_volume']").nth(4)).to_have_value("281,0")
    page.get_by_role("button", name="Save what was read back").click()
    expect(page.get_by_text("Read back: 1 match, 1 differ.")).to_be_visible()
