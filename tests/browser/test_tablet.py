"""A shared tablet: enrolled, taken over, a shot logged, switched, another one; and left alone."""

import re
from typing import Literal

import pytest
from playwright.sync_api import Page, expect

from audit.capture.devices import device_of
from audit.capture.models import Entry
from people.sign_in.models import SignIn
from people.tablets.actions import add_tablet
from people.tablets.models import TabletPolicy
from stations.shots.models import CheckShot
from tests.browser.conftest import OpenPage
from tests.browser.hand import Hand
from tests.browser.looking import axe, fits, touchable
from tests.browser.scene import Scene
from tests.cast import Cast
from tests.people.tablets.bench import PINS, row_of, with_pin


def enrolled(open_page: OpenPage, cast: Cast, scheme: Literal["light", "dark"] = "light") -> Page:
    """A tablet of the harbour at the choice of people, enrolled as it is done there."""
    code = add_tablet(by=cast.shop_lead, site_id=cast.site.pk, name="Counter right")[1]
    page = open_page(None, "/tablet/enrol/", screen="tablet", scheme=scheme)
    page.set_viewport_size({"width": 820, "height": 1180})
    page.get_by_label("Code").fill(f"{code[:4]} {code[4:]}")
    page.get_by_role("button", name="Enrol tablet").click()
    expect(page.get_by_role("heading", name="Who are you?")).to_be_visible()
    return page


def looked_at(page: Page) -> None:
    """By axe, for sideways scrolling, for fingers."""
    for look in (axe, fits, touchable):
        look(page)


def take_over(page: Page, name: str, digits: str) -> None:
    """Two taps and the PIN."""
    page.get_by_role("link", name=name).click()
    expect(page.get_by_label("PIN")).to_be_focused()
    page.keyboard.type(digits)
    page.get_by_role("button", name="Take over").click()
    expect(page.get_by_role("button", name="Switch person")).to_be_visible()


def log_shot(page: Page, scene: Scene, grams: str) -> None:
    """From the station's code to the verdict."""
    page.goto(f"/at/{scene.station.code}/?slot={scene.slot.number}")
    card = page.locator("#card")
    card.get_by_label("Yield").fill(grams)
    card.get_by_label("Time").fill("28")
    card.get_by_role("button", name="Log shot").first.click()
    expect(page.get_by_text("Noted as")).to_be_visible()


def test_two_people_log_a_shot_each_at_one_tablet(
    open_page: OpenPage, cast: Cast, scene: Scene
) -> None:
    for name in ("barista", "shop_lead"):
        with_pin(cast, name)
    page = enrolled(open_page, cast)
    take_over(page, "Barista", PINS["barista"])
    log_shot(page, scene, "36.4")
    page.get_by_role("button", name="Switch person").click()
    expect(page.get_by_text("Noted as")).to_have_count(0)
    take_over(page, "Shop lead", PINS["shop_lead"])
    log_shot(page, scene, "36.9")
    logged = Entry.objects.filter(table_name="stations_checkshot").order_by("-id")[:2]
    assert [entry.actor for entry in logged] == ["Shop lead", "Barista"]
    assert {device_of(entry.request_id) for entry in logged} == {row_of("Counter right").pk}
    assert [str(shot.beverage_mass) for shot in CheckShot.objects.order_by("-pk")[:2]] == [
        "36.9",
        "36.4",
    ]
    history = open_page(cast.owner, "/history/?device=Counter+right")
    expect(history.get_by_text("at Counter right").first).to_be_visible()


def test_taking_over_and_a_shot_are_four_taps_and_ten_keys(
    open_page: OpenPage, cast: Cast, scene: Scene
) -> None:
    """Nobody is at it. A scanned code leads past the choice to the card: two taps and the PIN, then
    as on a phone of one's own, two taps and six keys."""
    with_pin(cast)
    page, before = enrolled(open_page, cast), CheckShot.objects.count()
    hand = Hand(page)
    page.goto(f"/at/{scene.station.code}/?slot={scene.slot.number}")
    hand.think()
    hand.tap(page.get_by_role("link", name="Barista"))
    expect(page.get_by_label("PIN")).to_be_focused()
    hand.think()
    hand.press(*PINS["barista"])
    hand.tap(page.get_by_role("button", name="Take over"))
    expect(page.get_by_label("Yield")).to_be_focused()
    assert (hand.taps, hand.keys) == (2, 4)
    hand.think()
    hand.press(*"36.4")
    hand.think()
    hand.tap(page.get_by_label("Shot time"))
    hand.press(*"28")
    hand.tap(page.get_by_role("button", name="Log shot"))
    expect(page.get_by_text("Noted as")).to_be_visible()
    assert CheckShot.objects.count() == before + 1
    assert (hand.taps, hand.keys) == (4, 10)
    assert hand.seconds < 15


def test_left_alone_the_form_comes_back_for_its_person(
    open_page: OpenPage, cast: Cast, scene: Scene
) -> None:
    with_pin(cast)
    page = enrolled(open_page, cast)
    TabletPolicy.objects.create(site=cast.site, idle_minutes=1)
    page.clock.install()
    take_over(page, "Barista", PINS["barista"])
    address = f"/slots/{scene.slot.pk}/shots/new/"
    page.goto(address)
    page.get_by_label("Yield").fill("36.7")
    before = CheckShot.objects.count()
    page.clock.fast_forward(61_000)
    expect(page.get_by_role("heading", name="Who are you?")).to_be_visible()
    assert not SignIn.objects.live().filter(user=cast.barista).exists()
    take_over(page, "Barista", PINS["barista"])
    expect(page).to_have_url(re.compile(address))
    expect(page.get_by_label("Yield")).to_have_value("36.7")
    assert CheckShot.objects.count() == before


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_its_pages_by_axe(
    open_page: OpenPage, cast: Cast, scheme: Literal["light", "dark"]
) -> None:
    with_pin(cast)
    page = enrolled(open_page, cast, scheme)
    looked_at(page)
    page.get_by_role("link", name="Barista").click()
    looked_at(page)
    page.get_by_label("PIN").fill("9999")
    page.get_by_role("button", name="Take over").click()
    expect(page.get_by_label("PIN")).to_have_value("")
    looked_at(page)
    page.get_by_label("PIN").fill(PINS["barista"])
    page.get_by_role("button", name="Take over").click()
    page.goto("/account/pin/")
    looked_at(page)
