"""A check shot on a phone takes less than 10 seconds, counted stroke by stroke.

Keystroke-level model: Card, Moran & Newell, "The keystroke-level model for user performance time
with interactive systems", Communications of the ACM 23(7), 1980, 396-410; its operators' times from
memory. The slower of its typing speeds is taken. What the server takes is not in it: the pages that
answer here have budgets of their own, and leave some 2 seconds of the 10.
"""

from dataclasses import dataclass

import pytest
from playwright.sync_api import Locator, Page, expect

from stations.shots.models import CheckShot
from tests.browser.conftest import OpenPage
from tests.browser.scene import Scene
from tests.cast import Cast

K, P, H, M = 0.28, 1.1, 0.4, 1.35  # s: a keystroke, pointing, moving the hand there, preparing
LIMIT = 10.0  # s
SHOT = ("36.4", "28")


@dataclass
class Hand:
    """Does what a barista does, and counts it; what has to be thought of is said."""

    page: Page
    keys: int = 0
    taps: int = 0
    thoughts: int = 0

    def think(self) -> None:
        """Before each step that is decided or read off: a slot, a scale, a timer."""
        self.thoughts += 1

    def tap(self, target: Locator) -> None:
        """Point at it, which has to be in sight without scrolling, and touch it."""
        expect(target).to_be_in_viewport()
        target.click()
        self.taps += 1

    def press(self, *keys: str) -> None:
        """Each one key of what the phone shows."""
        for key in keys:
            self.page.keyboard.press(key)
            self.keys += 1

    @property
    def seconds(self) -> float:
        """The estimate: one hand goes to the phone once, a tap is pointing and a stroke."""
        return H + self.thoughts * M + self.taps * (P + K) + self.keys * K


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
