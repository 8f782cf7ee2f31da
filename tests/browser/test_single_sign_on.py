"""Single sign-on in a real browser: out to a real provider, and back in."""

import re

import requests
from oidc_provider_mock import run_server_in_thread
from playwright.sync_api import expect
from pytest_django.fixtures import Settings

from config.settings.security import single_sign_on_settings
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits
from tests.cast import Cast


def test_somebody_signs_in_over_there(cast: Cast, open_page: OpenPage, settings: Settings) -> None:
    with run_server_in_thread() as server:
        issuer = f"http://localhost:{server.server_port}"
        named = single_sign_on_settings(issuer, "portaledger", "x", "Group sign-on")
        for name, value in named.items():
            setattr(settings, name, value)
        claims: dict[str, str | bool] = {"email": cast.barista.email, "email_verified": True}
        requests.put(f"{issuer}/users/s-1", json=claims, timeout=5).raise_for_status()
        page = open_page(None, "/account/login/?next=/account/sessions/")
        # The provider's own page wants a style sheet from elsewhere, which tests never reach.
        page.route(re.compile("^https://"), lambda route: route.fulfill(content_type="text/css"))
        axe(page)
        page.get_by_role("link", name="Group sign-on").click()
        page.get_by_placeholder("sub").fill("s-1")
        page.get_by_role("button", name="Authorize").click()
        expect(page.get_by_role("heading", name="Sessions", level=1)).to_be_visible()
        expect(page.get_by_text("by single sign-on")).to_be_visible()
        expect(page.get_by_text("s-1")).to_be_visible()
        axe(page)
        fits(page)
