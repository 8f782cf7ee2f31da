"""Choosing a site by its name on the page of the history, with JavaScript and without."""

import pytest

from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits, touchable
from tests.cast import Cast

pytestmark = pytest.mark.django_db(transaction=True)


def test_names_are_suggested_and_taken(open_page: OpenPage, cast: Cast) -> None:
    page = open_page(cast.owner, "/history/", screen="desk")
    site = page.get_by_label("Site")
    with page.expect_response(lambda answer: "site=upl" in answer.url):
        site.press_sequentially("upl")
    page.wait_for_function("document.querySelectorAll('#site_names option').length === 1")
    assert page.locator("#site_names option").get_attribute("value") == cast.other_site.name
    axe(page)
    fits(page)
    site.press("Enter")
    page.wait_for_url("**site=upl*")
    assert page.get_by_label("Site").input_value() == cast.other_site.name


def test_without_javascript_a_part_of_the_name_will_do(open_page: OpenPage, cast: Cast) -> None:
    page = open_page(cast.owner, "/history/", screen="phone", script=False)
    page.get_by_label("Site").fill("a")
    page.get_by_role("button", name="Filter").click()
    touchable(page)
    page.get_by_role("link", name=cast.site.name, exact=True).click()
    assert page.get_by_label("Site").input_value() == cast.site.name
