"""Every shared part in a real browser: accessible at each width, light and dark, and behaving."""

import pytest
from playwright.sync_api import Dialog, Page, expect
from pytest_django.fixtures import Settings

from tests.browser.conftest import OpenPage
from tests.browser.looking import WIDTHS, axe, fits, touchable

ADDRESS = "/gallery/?bound=1"


@pytest.fixture(autouse=True)
def _gallery(settings: Settings) -> None:
    settings.ROOT_URLCONF = "tests.web.gallery.urls"


@pytest.mark.parametrize("screen", WIDTHS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_is_accessible_and_fits(open_page: OpenPage, screen: str, scheme: str) -> None:
    page = open_page(None, ADDRESS, screen=screen, scheme=scheme)
    axe(page)
    fits(page)
    touchable(page)


def test_the_errors_have_the_focus(open_page: OpenPage) -> None:
    page = open_page(None, ADDRESS)
    expect(page.locator(".error-summary").first).to_be_focused()
    page.get_by_role("link", name="Dose: Enter a number.").click()
    expect(page.get_by_label("Dose")).to_be_focused()


def test_a_group_of_choices_takes_the_focus_too(open_page: OpenPage) -> None:
    page = open_page(None, ADDRESS)
    page.get_by_role("link", name="Ends by").click()
    expect(page.get_by_label("Volume", exact=True)).to_be_focused()


def test_the_ratio_follows_the_typing(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/")
    page.get_by_label("Dose").fill("18.0")
    page.get_by_label("Yield").fill("36.9")
    ratio = page.locator("output")
    expect(ratio).to_have_text("1 : 2.05")
    page.get_by_label("Dose").fill("0")
    expect(ratio).to_have_text("–")  # noqa: RUF001


def test_typed_values_are_not_left_behind_unasked(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/")
    page.get_by_label("Dose").fill("18.0")
    asked: list[str] = []

    def leave(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.accept()

    page.on("dialog", leave)
    page.get_by_role("link", name="Portaledger").click(no_wait_after=True)
    page.wait_for_event("framenavigated")
    assert asked == ["beforeunload"]


def test_the_keyboard_reaches_the_page_past_the_head(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()


def test_a_token_is_copied(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/")
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy").click()
    expect(page.get_by_role("button", name="Copied")).to_be_visible()
    assert page.evaluate("navigator.clipboard.readText()") == "k9-token"


def test_printing_is_one_press(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/")
    page.evaluate("window.print = () => document.body.dataset.printed = 'yes'")
    page.get_by_role("button", name="Print").click()
    expect(page.locator("body")).to_have_attribute("data-printed", "yes")


def test_without_script_there_is_no_button_that_does_nothing(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/", script=False)
    expect(page.get_by_role("button", name="Copy")).to_be_hidden()
    expect(page.get_by_role("button", name="Print")).to_be_hidden()


def test_the_menu_opens_on_a_phone_without_script(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/", screen="phone", script=False)
    board = page.locator(".nav-folded").get_by_role("link", name="Board")
    expect(board).to_be_hidden()
    page.locator(".nav-folded summary").click()
    expect(board).to_be_visible()


def test_on_a_phone_a_row_reads_as_labelled_values(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/", screen="phone")
    expect(page.locator("table.ledger thead").first).not_to_be_in_viewport()
    assert _before(page, "table.ledger td >> nth=0") == '"Target"'


def _before(page: Page, selector: str) -> str:
    script = "element => getComputedStyle(element, '::before').content"
    return str(page.locator(selector).evaluate(script))


def test_paper_shows_the_sheet_alone(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/")
    page.emulate_media(media="print")
    expect(page.get_by_role("navigation", name="Pages")).to_have_count(0)
    expect(page.get_by_role("button", name="Save draft")).to_be_hidden()
    expect(page.get_by_text("licensed technician").first).to_be_visible()


def test_forced_colours_draw_marks_in_the_text_colour(open_page: OpenPage) -> None:
    page = open_page(None, "/gallery/")
    page.emulate_media(forced_colors="active")
    ink = page.locator("body").evaluate("element => getComputedStyle(element).color")
    for mark in page.locator(".mark-alarm svg").all():
        assert mark.evaluate("element => getComputedStyle(element).color") == ink
