"""The head roaster's five questions: each answered within two clicks of the first page, counted."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from playwright.sync_api import Locator, Page, expect

from recipes.publishing import run
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits
from tests.publishing import Publish, quiet, send

__all__ = ["quiet", "send"]
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]

MOST = 2
SHOT = Weighed(Decimal("18.0"), Decimal("36.0"), Decimal(28))


class Hand:
    """Clicks, counted; typing into a field is none."""

    def __init__(self, page: Page) -> None:
        self.page, self.clicks = page, 0

    def click(self, target: Locator) -> None:
        """One click."""
        target.click()
        self.clicks += 1

    def link(self, name: str) -> None:
        """One click on the first link of that name."""
        self.click(self.page.get_by_role("link", name=name, exact=True).first)

    def button(self, name: str) -> None:
        """One click on a button."""
        self.click(self.page.get_by_role("button", name=name, exact=True))


@pytest.fixture
def poured(bar: Bar, send: Publish) -> Bar:
    """The recipe in every slot, and a shot six grams over at the harbour."""
    run.run(send().pk)
    shot = replace(SHOT, beverage_mass=Decimal("42.0"))
    log_shot(by=bar.cast.head_roaster, slot=bar.slots[0], shot=shot)
    return bar


@pytest.fixture(params=[True, False], ids=["script", "no script"])
def hand(poured: Bar, open_page: OpenPage, request: pytest.FixtureRequest) -> Iterator[Hand]:
    """At the first page, with JavaScript and without."""
    hand = Hand(open_page(poured.cast.head_roaster, "/", script=request.param))
    yield hand
    assert hand.clicks <= MOST


def today(hand: Hand) -> None:
    """What is where today?"""
    hand.link("Grid")
    table = hand.page.get_by_role("table", name="Slots at Harbour")
    expect(table).to_contain_text("Morning blend · Double espresso")
    expect(table).to_contain_text("1 of 1 shot out")


def on_the_first_of_march(hand: Hand) -> None:
    """What was where on 1 March, at eight in the morning?"""
    hand.link("Grid")
    hand.page.get_by_label("As of (day)").fill(f"{date.today().year}-03-01")  # noqa: DTZ011
    hand.page.get_by_label("As of (time)").fill("08:00")
    hand.button("Show")
    expect(hand.page.locator("main")).to_contain_text("As of 1 Mar")
    expect(hand.page.get_by_role("table", name="Slots at Harbour")).to_contain_text("Empty")


def since_last_week(hand: Hand) -> None:
    """What changed since last week?"""
    hand.link("Grid")
    hand.link("What changed since last week")
    table = hand.page.get_by_role("table", name="Slots at Upland")
    expect(table).to_contain_text("Before: Empty")


def out_of_tolerance(hand: Hand) -> None:
    """Which bars pull out of tolerance?"""
    hand.link("Grid")
    hand.link("Out of tolerance")
    main = hand.page.locator("main")
    expect(main).to_contain_text("Harbour")
    expect(main).to_contain_text("yield too high")


def one_degree_more(hand: Hand) -> None:
    """What would 93 °C instead of 92 °C do?"""
    hand.link("Grid")
    hand.page.get_by_label("Brew temperature").fill("92")
    hand.button("Run the model")
    expect(hand.page.get_by_role("heading", name="What a change would do")).to_be_visible()
    expect(hand.page.get_by_label("Brew temperature")).to_have_value("92")


QUESTIONS = (today, on_the_first_of_march, since_last_week, out_of_tolerance, one_degree_more)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda each: each.__name__)
def test_a_question_takes_two_clicks(hand: Hand, question: Callable[[Hand], None]) -> None:
    question(hand)


@pytest.mark.parametrize("screen", ["desk", "tablet", "phone"])
def test_grid_and_tolerance_on_every_screen(poured: Bar, open_page: OpenPage, screen: str) -> None:
    page = open_page(poured.cast.head_roaster, "/grid/?since=2026-01-01", screen=screen)
    for path in ("/grid/?since=2026-01-01", f"/tolerance/?recipe={poured.version.recipe_id}"):
        page.goto(path)
        fits(page)
        axe(page)


def test_a_way_from_a_slot_leads_to_its_plan(poured: Bar, open_page: OpenPage) -> None:
    page = open_page(poured.cast.head_roaster, "/grid/")
    page.get_by_text("Change slot 1 of Front · station 1").click()
    page.get_by_role("link", name="Publish version 1").first.click()
    page.wait_for_url("**/publish/plan/**")
