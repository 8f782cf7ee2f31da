"""The database is away while somebody sends a form: what they typed is sent from that page."""

import os
import re
from typing import Literal

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits, legible
from tests.cast import PASSWORD, Cast
from web.answering import watch


@pytest.mark.parametrize(
    ("screen", "scheme"), [("desk", "light"), ("tablet", "dark"), ("phone", "light")]
)
def test_what_was_typed_is_sent_again_and_done(
    cast: Cast,
    open_page: OpenPage,
    screen: str,
    scheme: Literal["light", "dark"],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    page = open_page(None, "/account/login/?next=/people/", screen=screen, scheme=scheme, away=True)
    page.get_by_label("E-mail").fill(cast.owner.email)
    page.get_by_label("Password").fill(PASSWORD)
    monkeypatch.setattr(watch, "away", lambda: True)
    page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.get_by_role("heading", name="Not available just now")).to_be_visible()
    expect(page.get_by_text("what you typed is kept on this page")).to_be_visible()
    axe(page)
    fits(page)
    legible(page)
    if folder := os.environ.get("PICTURES"):
        page.screenshot(path=f"{folder}/503-{screen}-{scheme}.png", full_page=True)
    monkeypatch.undo()
    page.get_by_label("Password, once more").fill(PASSWORD)
    page.get_by_role("button", name="Send it again").click()
    expect(page).to_have_url(re.compile("/people/$"))


def test_a_page_that_was_only_looked_at_is_tried_again(
    cast: Cast, open_page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = open_page(cast.owner, "/", away=True)
    monkeypatch.setattr(watch, "away", lambda: True)
    page.goto("/people/")
    axe(page)
    if folder := os.environ.get("PICTURES"):
        page.screenshot(path=f"{folder}/503-look.png", full_page=True)
    monkeypatch.undo()
    page.get_by_role("link", name="Try again").click()
    expect(page.get_by_role("heading", name="People", exact=True)).to_be_visible()
