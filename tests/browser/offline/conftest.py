"""A barista's phone at the bar, and what is done on it."""

import pytest
from django.urls import reverse

from tests.browser.conftest import OpenPage
from tests.browser.offline.device import Device
from tests.browser.scene import Scene
from tests.cast import Cast


@pytest.fixture
def bar_page(scene: Scene) -> str:
    """The address of the bar's page of a station."""
    return reverse("stations:at", args=[scene.station.code])


@pytest.fixture
def device(cast: Cast, bar_page: str, open_page: OpenPage) -> Device:
    """A barista's phone with the station's page open, kept and served by the worker."""
    return opened(open_page, cast, bar_page, "barista")


def opened(open_page: OpenPage, cast: Cast, address: str, who: str) -> Device:
    """Somebody's phone with that page open, kept and served by the worker."""
    page = open_page(getattr(cast, who), address, screen="phone", worker=True)
    held = Device(page.context, page)
    held.ready()
    held.keeps(address)
    held.keeps("/waiting/")
    return held


def log(device: Device, out: str, seconds: str = "27") -> None:
    """Type a check shot and send it."""
    device.page.get_by_label("Yield").first.fill(out)
    device.page.get_by_label("Shot time").first.fill(seconds)
    device.page.get_by_role("button", name="Log shot").click()
