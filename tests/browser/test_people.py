"""People, account and sign-in pages in a real browser: accessible, fitting, and passkeys work."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits, touchable
from tests.cast import PASSWORD, Cast

FOR_STRANGERS = [
    "/account/login/",
    "/account/password/reset/",
    "/account/password/reset/sent/",
    "/account/password/reset/key/1-set-password/",
    "/account/password/reset/key/done/",
    "/account/inactive/",
    "/account/signup/",
]
FOR_OWNERS = [
    "/people/",
    "/people/add/",
    "/policy/",
    "/account/tokens/",
    "/account/password/change/",
    "/account/logout/",
    "/account/reauthenticate/",
    "/account/second-factor/",
    "/account/second-factor/passkeys/",
]


@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_pages_for_strangers(cast: Cast, open_page: OpenPage, screen: str) -> None:
    page = open_page(None, FOR_STRANGERS[0], screen=screen)
    for address in FOR_STRANGERS:
        page.goto(address)
        _is_fine(page)


@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_the_owners_pages(cast: Cast, open_page: OpenPage, screen: str) -> None:
    page = open_page(cast.owner, "/people/", screen=screen)
    for address in [*FOR_OWNERS, f"/people/{cast.barista.pk}/"]:
        page.goto(address)
        _is_fine(page)


def test_adding_a_person_by_hand(cast: Cast, open_page: OpenPage) -> None:
    page = open_page(cast.owner, "/people/add/")
    page.get_by_label("Name").fill("New barista")
    page.get_by_label("E-mail address").fill("new@example.com")
    page.get_by_role("button", name="Add person").click()
    expect(page.get_by_role("heading", name="New barista")).to_be_visible()
    expect(page.locator("#invitation-link")).to_contain_text("/account/password/reset/key/")
    _is_fine(page)
    page.get_by_label("Role").select_option("barista")
    page.get_by_label("Where").select_option("Harbour")
    page.get_by_role("button", name="Give role").click()
    expect(page.get_by_role("row", name="Barista Harbour")).to_be_visible()


def test_a_passkey_signs_in_without_a_password(cast: Cast, open_page: OpenPage) -> None:
    page = open_page(None, "/account/login/")
    _plug_in_a_key(page)
    page.get_by_label("E-mail address").fill(cast.owner.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.goto("/account/second-factor/passkeys/add/")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Confirm").click()
    page.get_by_label("Name, such as phone").fill("Desk key")
    page.get_by_label("Sign in with it alone").check()
    _is_fine(page)
    page.get_by_role("button", name="Add it").click()
    page.wait_for_url("**/codes/")
    page.goto("/account/second-factor/passkeys/")
    expect(page.get_by_role("row", name="Desk key by itself")).to_be_visible()
    _is_fine(page)
    page.get_by_role("button", name="Sign out").click()
    page.goto("/account/login/")
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def _is_fine(page: Page) -> None:
    axe(page)
    fits(page)
    touchable(page)


def _plug_in_a_key(page: Page) -> None:
    """A key made of software, as browsers have for tests; it confirms its owner by itself."""
    browser = page.context.new_cdp_session(page)
    browser.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2",
        "transport": "internal",
        "hasResidentKey": True,
        "hasUserVerification": True,
        "isUserVerified": True,
        "automaticPresenceSimulation": True,
    }
    browser.send("WebAuthn.addVirtualAuthenticator", {"options": options})
