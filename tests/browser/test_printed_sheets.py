"""What is printed hangs as one page, with the scald caution on it."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from stations.equipment.models import Slot, Station
from tests.browser.conftest import OpenPage
from tests.cast import Cast
from tests.recipes import shelf
from tests.stations.conftest import VALUES, Bar, bar, place

__all__ = ["bar"]

pytestmark = pytest.mark.django_db(transaction=True)
SLOTS = 12
PAPER = ("A4", "Letter")
# Six settings a slot. With ten, nine slots fill the page.
FULL = VALUES | {
    name: {"value": value, "unit": unit}
    for name, value, unit in (
        ("preinfusion_time", "4.0", "s"),
        ("preinfusion_pressure", "3.0", "bar"),
        ("brew_pressure", "9.0", "bar"),
    )
}


def pages(page: Page, paper: str) -> int:
    """Sheets of paper that a printer would take."""
    return len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper, prefer_css_page_size=True)))


@pytest.fixture
def station(bar: Bar, cast: Cast) -> Station:
    for number in range(1, SLOTS + 1):
        slot, _ = Slot.objects.get_or_create(station=bar.first, number=number)
        place(slot, cast.head_roaster, FULL)
    return bar.first


@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize("query", ["", "?settings=1"])
def test_a_stations_sheet_is_one_page(
    station: Station, cast: Cast, open_page: OpenPage, paper: str, query: str
) -> None:
    page = open_page(cast.shop_lead, reverse("stations:sheet", args=[station.pk]) + query)
    page.emulate_media(media="print")
    assert page.get_by_label("Caution").is_visible()
    assert page.get_by_text("Slot 12").count() == (1 if query else 0)
    assert pages(page, paper) == 1


def test_the_recipe_book_has_its_codes_beside_the_figures(cast: Cast, open_page: OpenPage) -> None:
    shelf.make_approved(cast, shelf.make_recipe(cast))
    page = open_page(cast.head_roaster, reverse("recipes:book"))
    for media, width in (("screen", 820), ("print", 680)):  # 680 px: A4 within its margins
        page.set_viewport_size({"width": width, "height": 1000})
        page.emulate_media(media=media)  # type: ignore[arg-type]
        figures = page.locator(".leaf .facts").bounding_box()
        code = page.locator(".leaf .qr").bounding_box()
        assert figures is not None
        assert code is not None
        assert figures["width"] > width / 2
        assert figures["x"] + figures["width"] <= code["x"]
        for line in page.locator(".leaf .facts > div").all():
            box = line.bounding_box()
            assert box is not None
            assert box["height"] < 50  # a figure, its unit and its tolerance in one line
