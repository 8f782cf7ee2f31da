"""The main job in the browser: draft, sign, publish, key in, read back, ask, see who did it."""

import re

from playwright.sync_api import Page, expect

from recipes.publishing import run
from recipes.publishing.models import Publication
from recipes.versions.models import Version
from stations.equipment.models import Slot
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe
from tests.cast import PASSWORD
from tests.publishing import Publish
from tests.recipes.publishing.hands import load


def press(page: Page, words: str) -> None:
    """The first link or button of the page itself that says so."""
    main = page.locator("main")
    link, button = main.get_by_role("link", name=words), main.get_by_role("button", name=words)
    link.or_(button).first.click()


def sign(page: Page, email: str, words: str) -> None:
    """The session's first signature: address and password."""
    page.get_by_label("Your e-mail address").fill(email)
    page.get_by_label("Your password").fill(PASSWORD)
    press(page, words)


def state(page: Page) -> str:
    """The word of the page's first mark."""
    return page.locator("main .mark").first.inner_text()


def test_a_draft_is_written_and_another_roaster_signs_it(open_page: OpenPage, bar: Bar) -> None:
    page = open_page(bar.cast.head_roaster, f"/versions/{bar.version.pk}/")
    press(page, "New draft from it")
    page.get_by_label("Brew temperature in").fill("94°")
    press(page, "Save the draft")
    expect(page.locator(".error-summary")).to_be_focused()
    axe(page)
    page.get_by_label("Brew temperature in").fill("94.0")
    page.get_by_label("Yield in").fill("37.8")
    expect(page.locator("output")).to_have_text("1 : 2.10")
    press(page, "Save the draft")
    press(page, "Submit")
    expect(page.locator("main .mark").first).to_have_text("In review")
    draft = Version.objects.latest("pk")

    other = open_page(bar.cast.second_roaster, "/")
    press(other, f"version {draft.number}")
    changed = other.locator("table.diff td.new.differs .qty")
    expect(changed).to_have_text(["37.8\xa0g", "94.0\xa0°C"])
    other.get_by_label("Your password").fill("not my password")
    other.get_by_label("Your e-mail address").fill(bar.cast.second_roaster.email)
    press(other, "Sign and approve")
    expect(other.locator(".error-summary")).to_be_focused()
    assert Version.objects.get(pk=draft.pk).state == "in_review"
    sign(other, bar.cast.second_roaster.email, "Sign and approve")
    expect(other.locator("main .mark").first).to_have_text("Approved")
    axe(other)


def test_a_publication_is_planned_signed_and_watched(open_page: OpenPage, bar: Bar) -> None:
    page = open_page(bar.cast.head_roaster, f"/versions/{bar.version.pk}/")
    press(page, "Publish")
    page.get_by_label("Every slot").check()
    press(page, "Show the plan")
    expect(page.locator(".tally").first).to_contain_text("8")
    axe(page)
    page.get_by_label("Reason").fill("New crop")
    sign(page, bar.cast.head_roaster.email, "Sign and publish")
    page.wait_for_url(re.compile(r"/publications/\d+/"))
    assert state(page) == "Under way"
    run.run(Publication.objects.get().pk)
    # The page finds out by itself.
    expect(page.locator("main .mark").first).to_have_text("To load at the bars")
    expect(page.get_by_text("8 of 8 slots placed, 0 of 8 loaded")).to_be_visible()
    axe(page)
    load(bar, Publication.objects.get())
    press(page, "Look again")
    assert state(page) == "Complete"
    expect(page.get_by_text("8 of 8 loaded and read back")).to_be_visible()
    expect(page.locator("[hx-trigger]")).to_have_count(0)


def test_without_script_the_progress_page_is_looked_at_again(
    open_page: OpenPage, bar: Bar, send: Publish
) -> None:
    publication = send()
    page = open_page(bar.cast.head_roaster, f"/publications/{publication.pk}/", script=False)
    run.run(publication.pk)
    press(page, "Look again")
    expect(page.get_by_text("8 of 8 slots placed")).to_be_visible()


def test_a_shop_lead_keys_in_reads_back_and_asks(
    open_page: OpenPage, bar: Bar, send: Publish
) -> None:
    run.run(send().pk)
    page = open_page(bar.cast.shop_lead, "/", screen="tablet")
    press(page, "to load")
    page.get_by_label("As shown").first.check()
    page.get_by_text("Something differs").first.click()
    page.get_by_label("Brew temperature").first.fill("92.0")
    press(page, "Save what was read back")
    expect(page.get_by_text("Read back: 1 differ.")).to_be_visible()
    axe(page)
    page.goto(Slot.objects.get(placements__verdict="differs").get_absolute_url())
    assert state(page) == "Differs"
    press(page, "Ask for a change")
    page.get_by_label("Reason").fill("Sour in the morning.")
    page.get_by_label("Brew temperature in").fill("94.0")
    press(page, "Send the request")
    assert state(page) == "Open"
    axe(page)

    owner = open_page(bar.cast.owner, "/history/")
    asked = owner.get_by_role("row").filter(has_text="Asked for a change").first
    expect(asked).to_contain_text("Shop lead")
    asked.get_by_role("link").first.click()
    expect(owner.locator("main")).to_contain_text("page")
    axe(owner)


def test_a_barista_scans_the_code_and_reads_the_settings(
    open_page: OpenPage, bar: Bar, send: Publish
) -> None:
    run.run(send().pk)
    page = open_page(bar.cast.barista, f"/at/{bar.stations[0].code}/", screen="phone")
    first = page.locator(".settings").first
    expect(first.locator(".qty")).to_have_text(["280\xa0pulses", "93.5\xa0°C", "water volume"])
    size = first.locator(".qty-num").first.evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
    assert size >= 40  # CSS pixels: read from a step away
