"""A real browser against a live server on the test database, signed in as one of the cast."""

import os
from collections.abc import Callable, Iterator
from typing import Literal

import pytest
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from pytest_django.live_server_helper import LiveServer

from people.persons.models import User
from tests.browser.looking import ARGUMENTS, AWAY, WIDTHS, Complaints
from tests.browser.scene import scene
from tests.publishing import send

__all__ = ["scene", "send"]

# Seconds a test waits for something to show; two cores may be shared by several browsers.
PATIENCE = 15
OpenPage = Callable[..., Page]


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Browser]:
    """One browser for the session; each page has a profile of its own."""
    # Playwright keeps an event loop in this thread, which Django would take for async code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        yield browser
        browser.close()


def sign_in(context: BrowserContext, person: User, address: str) -> None:
    """Give the browser a session of this person, without the sign-in page."""
    client = Client()
    client.force_login(person)
    name = settings.SESSION_COOKIE_NAME
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": address}])


@pytest.fixture
def open_page(browser: Browser, live_server: LiveServer) -> Iterator[OpenPage]:
    """`open_page(cast.barista, "/board/", screen="phone")`; the console must stay silent.

    `worker`: the page has its service worker. `away`: the server may say that it is not available.
    """
    complaints, contexts = Complaints(), []

    def opened(
        person: User | None = None,
        path: str = "/",
        *,
        screen: str = "desk",
        scheme: Literal["light", "dark"] = "light",
        script: bool = True,
        touch: bool = False,
        worker: bool = False,
        away: bool = False,
    ) -> Page:
        context = browser.new_context(
            base_url=live_server.url,
            viewport={"width": WIDTHS[screen], "height": 900},
            color_scheme=scheme,
            java_script_enabled=script,
            has_touch=touch,
            service_workers="allow" if worker else "block",
        )
        context.set_default_timeout(PATIENCE * 1000)
        contexts.append(context)
        complaints.expected += (AWAY,) if away else ()
        if person:
            sign_in(context, person, live_server.url)
        page = context.new_page()
        complaints.listen(page)
        page.goto(path)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not complaints.said, "\n".join(complaints.said)
