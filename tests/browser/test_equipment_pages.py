"""The equipment's pages in a real browser: accessible, fitting, touchable; the bar's main paths."""

from collections.abc import Callable

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.looking import WIDTHS, axe, fits, touchable
from tests.stations.conftest import FOUND, place

pytestmark = pytest.mark.django_db(transaction=True)


def named(name: str, *args: object) -> str:
    return reverse(f"stations:{name}", args=args)


ADDRESSES: dict[str, Callable[[Bar], str]] = {
    "board": lambda bar: named("board"),
    "sites": lambda bar: named("sites"),
    "site": lambda bar: named("site", bar.cast.site.pk),
    "site form": lambda bar: named("site_edit", bar.cast.site.pk),
    "machine": lambda bar: named("machine", bar.stations[0].machine_id),
    "machine form": lambda bar: named("machine_add") + f"?site={bar.cast.site.pk}",
    "machine types": lambda bar: named("machine_types"),
    "machine type": lambda bar: named("machine_type", bar.full.pk),
    "machine type form": lambda bar: named("machine_type_edit", bar.full.pk),
    "station": lambda bar: named("station", bar.stations[0].pk),
    "station form": lambda bar: named("figure_new", bar.stations[0].pk),
    "bar page": lambda bar: named("at", bar.stations[0].code),
    "sheet": lambda bar: named("sheet", bar.stations[0].pk) + "?settings=1",
    "slot": lambda bar: named("slot", bar.slots[0].pk),
    "read-back": lambda bar: named("read_back", bar.slots[0].pk),
    "to key": lambda bar: named("to_key", bar.cast.site.pk) + "?all=1",
    "by hand": lambda bar: named("set_by_hand", bar.slots[1].pk),
    "locked": lambda bar: named("set_by_hand", bar.slots[0].pk),
    "import": lambda bar: named("import"),
}


@pytest.fixture
def placed(bar: Bar) -> Bar:
    """The first slot has been placed twice, read back in between, and differs now."""
    for found in ({**FOUND, "water_volume": "281"}, {**FOUND, "brew_temperature": "92"}):
        placement = place(bar.slots[0], bar.cast.head_roaster)
        read_back(
            slot=bar.slots[0], found=found, by=bar.cast.shop_lead, seen_placement=placement.pk
        )
    place(bar.slots[2], bar.cast.head_roaster)
    return bar


@pytest.mark.parametrize("screen", WIDTHS)
def test_every_page_is_accessible_and_fits(placed: Bar, open_page: OpenPage, screen: str) -> None:
    page = open_page(placed.cast.head_roaster, "/board/", screen=screen)
    for name, address in ADDRESSES.items():
        page.goto(address(placed))
        assert page.locator("h1").count() == 1, name
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            axe(page)
        fits(page)
        touchable(page)


def test_a_shop_lead_loads_a_slot_and_reads_it_back(placed: Bar, open_page: OpenPage) -> None:
    page = open_page(placed.cast.shop_lead, named("site", placed.cast.site.pk), screen="tablet")
    page.get_by_role("link", name="What to key in").click()
    page.get_by_label("As shown").first.check()
    page.get_by_role("button", name="Save what was read back").click()
    expect(page.get_by_text("Read back: 1 match.")).to_be_visible()
    assert Placement.objects.in_force().filter(verdict="matches").count() == 1


def test_a_barista_scans_the_sheet(placed: Bar, open_page: OpenPage) -> None:
    desk = open_page(placed.cast.head_roaster, named("sheet", placed.stations[0].pk))
    address = desk.locator(".sheet .mono").inner_text()
    phone = open_page(placed.cast.barista, address, screen="phone")
    water = phone.locator(".settings .qty").filter(has_text="280").first
    expect(water).to_be_visible()
    size = water.evaluate("element => parseFloat(getComputedStyle(element).fontSize)")
    assert size >= 40  # CSS pixels: read at arm's length over a counter


def test_the_sheet_prints_on_one_page(placed: Bar, open_page: OpenPage) -> None:
    page = open_page(placed.cast.head_roaster, named("sheet", placed.stations[0].pk))
    page.emulate_media(media="print")
    expect(page.get_by_role("link", name="With today's settings")).to_be_hidden()
    expect(page.locator("img.qr")).to_be_visible()
    assert page.pdf(format="A4").count(b"/Type /Page\n") == 1


def test_stacked_numbers_stand_beside_their_labels(placed: Bar, open_page: OpenPage) -> None:
    page = open_page(placed.cast.shop_lead, named("slot", placed.slots[0].pk), screen="phone")
    for cell in page.locator("td.num").all():
        assert cell.evaluate("element => getComputedStyle(element).textAlign") == "start"
