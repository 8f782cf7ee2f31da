"""A bag is opened by its label: typed, scanned by a scanner that types, or seen by the camera."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from recipes.coffees.actions import add_lot
from recipes.coffees.models import Coffee
from stations.equipment.models import Station
from stations.lots.models import LotOpening
from tests.bar import Bar
from tests.browser.conftest import OpenPage

pytestmark = pytest.mark.django_db(transaction=True)

# A browser that can read codes by itself, and a camera that sees one at the third look.
CAMERA = """
  let looks = 0;
  window.BarcodeDetector = class {
    static async getSupportedFormats() { return ["qr_code", "aztec"]; }
    async detect() { return ++looks < 3 ? [] : [{ rawValue: "Morning blend R2 " }]; }
  };
  navigator.mediaDevices.getUserMedia = async () => {
    const canvas = document.createElement("canvas");
    canvas.getContext("2d");
    const stream = canvas.captureStream(10);
    setInterval(() => canvas.getContext("2d").fillRect(0, 0, 9, 9), 50);
    window.tracks = stream.getTracks();
    return stream;
  };
"""


@pytest.fixture
def at(bar: Bar) -> Station:
    """A station without a grinder; R1 and R2 of two coffees on the shelf."""
    blend = bar.version.recipe.coffee
    decaf = Coffee.objects.create(name="Decaf", rest_from=5, rest_to=21)
    roasted = timezone.now().date() - timedelta(days=12)
    for coffee in (blend, decaf):
        for code in ("R1", "R2"):
            add_lot(by=bar.cast.head_roaster, coffee=coffee, code=code, roasted_on=roasted)
    return bar.stations[0]


def opened() -> list[str]:
    return [str(each) for each in LotOpening.objects.order_by("pk")]


def test_a_scanner_that_types_opens_it_at_once(at: Station, bar: Bar, open_page: OpenPage) -> None:
    """The field has the cursor, the label tells the coffee too, and the scanner ends with Enter."""
    address = reverse("stations:lot_open_at_station", args=[at.pk])
    page = open_page(bar.cast.barista, address, screen="phone")
    page.keyboard.type("Decaf R1\n")
    expect(page.get_by_text("Decaf R1 is open now.")).to_be_visible()
    assert opened() == ["Decaf R1"]


def with_camera(bar: Bar, at: Station, open_page: OpenPage) -> Page:
    page = open_page(bar.cast.barista, "/", screen="phone")
    page.add_init_script(CAMERA)
    page.goto(reverse("stations:lot_open_at_station", args=[at.pk]))
    return page


def test_the_camera_types_what_it_reads_and_sends_nothing(
    at: Station, bar: Bar, open_page: OpenPage
) -> None:
    page = with_camera(bar, at, open_page)
    page.get_by_role("button", name="Scan with the camera").click()
    expect(page.get_by_label("Lot")).to_have_value("Morning blend R2")
    expect(page.get_by_role("button", name="Open it")).to_be_focused()
    expect(page.locator("video")).to_have_count(0)
    assert page.evaluate("tracks.every(track => track.readyState === 'ended')")
    assert opened() == []
    page.keyboard.press("Enter")
    expect(page.get_by_text("Morning blend R2 is open now.")).to_be_visible()


def test_the_camera_can_be_stopped(at: Station, bar: Bar, open_page: OpenPage) -> None:
    page = with_camera(bar, at, open_page)
    page.evaluate("() => { BarcodeDetector.prototype.detect = async () => [] }")
    page.get_by_role("button", name="Scan with the camera").click()
    expect(page.locator("video")).to_be_visible()
    page.get_by_role("button", name="Stop the camera").click()
    expect(page.locator("video")).to_have_count(0)
    expect(page.get_by_role("button", name="Scan with the camera")).to_be_visible()
    assert page.evaluate("tracks.every(track => track.readyState === 'ended')")


def test_where_no_camera_may_be_used_it_says_so(at: Station, bar: Bar, open_page: OpenPage) -> None:
    page = with_camera(bar, at, open_page)
    page.evaluate("() => { navigator.mediaDevices.getUserMedia = async () => { throw Error() } }")
    page.get_by_role("button", name="Scan with the camera").click()
    expect(
        page.get_by_role("button", name="The camera can't be used: type the lot")
    ).to_be_visible()


def test_without_such_a_browser_no_button_is_shown(
    at: Station, bar: Bar, open_page: OpenPage
) -> None:
    page = open_page(bar.cast.barista, "/")
    page.add_init_script("delete window.BarcodeDetector")
    page.goto(reverse("stations:lot_open_at_station", args=[at.pk]))
    expect(page.locator("[data-scan]")).to_be_hidden()
