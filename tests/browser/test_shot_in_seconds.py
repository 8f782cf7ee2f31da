"""A check shot on a phone takes less than 10 seconds, counted stroke by stroke.

The pages that answer here leave some 2 seconds of the 10 to the server.
"""

import pytest
from playwright.sync_api import expect

from stations.shots.models import CheckShot
from tests.browser.conftest import OpenPage
from tests.browser.hand import Hand
from tests.browser.scene import Scene
from tests.cast import Cast

LIMIT = 10.0  # s
SHOT = ("36.4", "28")


@pytest.fixture
def hand(open_page: OpenPage, cast: Cast, scene: Scene) -> Hand:
    """A barista in front of the station's page, opened by the code on its sheet."""
    return Hand(open_page(cast.barista, f"/at/{scene.station.code}/", screen="phone"))


def at_hand(hand: Hand) -> None:
    """The card is there: the dose filled in, the yield's box awake, phone keys with digits."""
    expect(hand.page.get_by_label("Yield")).to_be_focused()  # so that nobody has to point at it
    expect(hand.page.get_by_label("Dose")).to_have_value("18.0")
    fields = hand.page.locator(".card .three input[inputmode=decimal]:visible")
    expect(fields).to_have_count(3)


def logged(hand: Hand, before: int) -> None:
    """The verdict at once, and one shot more with exactly these numbers."""
    expect(hand.page.locator("main .mark").first).to_be_visible()
    hand.page.wait_for_url("**/shots/*/")
    assert CheckShot.objects.count() == before + 1
    shot = CheckShot.objects.latest("id")
    shown = tuple(f"{v:f}" for v in (shot.dose_mass, shot.beverage_mass, shot.shot_time))
    assert shown == ("18.0", *SHOT)


def test_two_taps_and_six_keys(hand: Hand) -> None:
    before = CheckShot.objects.count()
    at_hand(hand)
    hand.think()
    hand.press(*SHOT[0])
    hand.think()
    hand.tap(hand.page.get_by_label("Shot time"))
    hand.press(*SHOT[1])
    hand.tap(hand.page.get_by_role("button", name="Log shot"))
    logged(hand, before)
    assert (hand.taps, hand.keys) == (2, 6)
    assert hand.seconds < LIMIT


def test_with_the_keyboard_s_own_next_key_not_one_tap(hand: Hand) -> None:
    before = CheckShot.objects.count()
    at_hand(hand)
    for number, then in zip(SHOT, ("Tab", "Enter"), strict=True):
        hand.think()
        hand.press(*number, then)
    logged(hand, before)
    assert (hand.taps, hand.keys) == (0, 8)
    assert hand.seconds < LIMIT


def test_a_tap_more_for_the_taste(hand: Hand) -> None:
    before = CheckShot.objects.count()
    hand.press(*SHOT[0])
    hand.tap(hand.page.get_by_label("Shot time"))
    hand.press(*SHOT[1])
    hand.tap(hand.page.get_by_text("Sour"))
    hand.tap(hand.page.get_by_role("button", name="Log shot"))
    logged(hand, before)
    assert CheckShot.objects.latest("id").taste == "sour"
    assert (hand.taps, hand.keys) == (3, 6)
