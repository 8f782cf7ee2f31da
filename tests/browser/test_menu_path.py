"""A menu in the browser: signed by a second roaster, published, departed from."""

import re

from playwright.sync_api import Page, expect

from recipes.menus.models import Menu
from recipes.publishing import run
from recipes.publishing.models import Publication
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits
from tests.browser.test_main_path import press, sign, state
from tests.publishing import Publish
from tests.recipes.permits.test_permits import permit
from tests.recipes.publishing.hands import at_slot, other_version


def test_from_what_a_site_holds_to_a_bar_that_departs(
    open_page: OpenPage, bar: Bar, send: Publish
) -> None:
    cast, short = bar.cast, other_version(bar)
    for slot, version in zip(bar.slots[:2], (bar.version, short), strict=False):
        run.run(send(version, at_slot(slot)).pk)
    head = open_page(cast.head_roaster, "/recipes/")
    drafted(head, bar)
    approved(open_page(cast.second_roaster, "/menus/"), bar)
    followed(head, bar)
    published(head, bar)
    run.run(Publication.objects.latest("pk").pk)
    permit([bar.slots[1]], cast.head_roaster)
    departs(open_page(cast.shop_lead, "/", screen="phone"), bar)


def drafted(page: Page, bar: Bar) -> None:
    """The head roaster begins it like Harbour, keeps what is found there, and submits it."""
    press(page, "Menus")
    press(page, "Add a menu")
    page.get_by_label("Name").fill("Spring")
    page.get_by_label("Like").select_option(str(bar.cast.site))
    press(page, "Begin a draft")
    table = page.get_by_role("table", name="What stands on each slot number")
    expect(table.get_by_role("row")).to_have_count(3)  # the head and two slot numbers
    expect(table).to_contain_text("Short")
    press(page, "Submit")
    expect(page.locator("main .mark").first).to_have_text("In review")
    expect(page.get_by_text("another head roaster signs it")).to_be_visible()
    expect(page.get_by_role("link", name="Read and sign")).to_have_count(0)


def approved(page: Page, bar: Bar) -> None:
    """The second roaster reads and signs it."""
    page.get_by_role("row").filter(has_text="Spring").get_by_role("link", name="version 1").click()
    press(page, "Read and sign")
    axe(page)
    sign(page, bar.cast.second_roaster.email, "Sign and approve")
    expect(page.locator("main .mark").first).to_have_text("Approved")


def followed(page: Page, bar: Bar) -> None:
    """Harbour follows it from now on, which its own page leads to."""
    page.goto(bar.cast.site.get_absolute_url())
    press(page, "Follows no menu")
    page.get_by_label("Menu").select_option("Spring")
    press(page, "Save")
    expect(page.get_by_role("link", name="Spring")).to_be_visible()


def published(page: Page, bar: Bar) -> None:
    """Both drinks go to every station there, under one signature."""
    page.goto(Menu.objects.get().get_absolute_url())
    press(page, "Publish")
    expect(page.get_by_label(str(bar.cast.site))).to_be_checked()
    press(page, "Show the plan")
    expect(page.locator(".tally")).to_contain_text(["4", "2", "0"])
    axe(page)
    page.get_by_label("Reason").fill("Spring begins")
    sign(page, bar.cast.head_roaster.email, "Sign and publish")
    page.wait_for_url(re.compile(r"/publications/\d+/"))
    assert state(page) == "Under way"


def departs(page: Page, bar: Bar) -> None:
    """The shop lead reads on a phone which slot departs, and why."""
    press(page, "1 slot: menu Spring")
    row = page.get_by_role("table", name="Slots that depart from the menu").get_by_role("row").last
    expect(row).to_contain_text("on permit")
    expect(row).to_contain_text("Short")
    fits(page)
    axe(page)
