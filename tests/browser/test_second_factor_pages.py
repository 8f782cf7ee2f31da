"""A second factor in a real browser: a code app, and a passkey of a made-up authenticator."""

from time import sleep, time

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import (
    format_hotp_value,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.urls import reverse
from playwright.sync_api import Page, expect

from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits, touchable
from tests.cast import PASSWORD, Cast

AUTHENTICATOR = {
    "protocol": "ctap2",
    "transport": "internal",
    "hasResidentKey": True,
    "hasUserVerification": True,
    "isUserVerified": True,
    "automaticPresenceSimulation": True,
}


def look(page: Page, name: str, **about: object) -> None:
    """Open a page, the password typed once more where it is asked for, and look it over."""
    page.goto(reverse(name, kwargs=about))
    if "reauthenticate" in page.url and "reauthenticate" not in name:
        axe(page)
        page.get_by_label("Password").fill(PASSWORD)
        page.locator("main").get_by_role("button").first.click()
        page.wait_for_url(f"**{reverse(name, kwargs=about)}")
    axe(page)
    fits(page)
    touchable(page)


def press(page: Page, words: str) -> None:
    """The button with these words in the page itself."""
    page.locator("main").get_by_role("button", name=words).click()


def sign_in(page: Page, cast: Cast) -> None:
    """By the page, as a person does."""
    page.goto(reverse("account_login"))
    page.get_by_label("E-mail address").fill(cast.owner.email)
    page.get_by_label("Password").fill(PASSWORD)
    press(page, "Sign in")


@pytest.fixture
def phone(open_page: OpenPage, cast: Cast) -> Page:
    """The owner, signed in on a phone that can hold passkeys."""
    page = open_page(None, reverse("account_login"), screen="phone")
    keys = page.context.new_cdp_session(page)
    keys.send("WebAuthn.enable")
    keys.send("WebAuthn.addVirtualAuthenticator", {"options": AUTHENTICATOR})
    sign_in(page, cast)
    page.wait_for_url("**/")
    return page


def test_a_code_app_is_set_up_used_and_taken_off(
    phone: Page, open_page: OpenPage, cast: Cast
) -> None:
    look(phone, "mfa_index")
    look(phone, "mfa_activate_totp")
    secret = phone.locator("main code").inner_text()
    if (left := 30 - time() % 30) < 10:  # a code is good for its half minute alone
        sleep(left)
    code = hotp_value(secret, next(iter(yield_hotp_counters_from_time())))
    phone.locator("main input[name=code]").fill(str(format_hotp_value(code)))
    press(phone, "Start using it")
    phone.wait_for_url(lambda url: not url.endswith(reverse("mfa_activate_totp")))
    for name in (
        "mfa_index",
        "mfa_view_recovery_codes",
        "mfa_generate_recovery_codes",
        "mfa_reauthenticate",
        "mfa_deactivate_totp",
    ):
        look(phone, name)
    other = open_page(None, reverse("account_login"), screen="tablet")
    sign_in(other, cast)
    other.wait_for_url(f"**{reverse('mfa_authenticate')}*")
    axe(other)


def test_a_passkey_is_added_renamed_and_opens_the_door(phone: Page, cast: Cast) -> None:
    look(phone, "mfa_list_webauthn")
    look(phone, "mfa_add_webauthn")
    phone.get_by_label("Name").fill("Work phone")
    if (alone := phone.get_by_role("checkbox")).count():
        alone.check()
    press(phone, "Add it")
    phone.wait_for_url(lambda url: not url.endswith(reverse("mfa_add_webauthn")))
    key = Authenticator.objects.get(user=cast.owner, type="webauthn").pk
    look(phone, "mfa_list_webauthn")
    expect(phone.get_by_text("Work phone").first).to_be_visible()
    look(phone, "mfa_reauthenticate_webauthn")
    look(phone, "mfa_edit_webauthn", pk=key)
    look(phone, "mfa_remove_webauthn", pk=key)
    phone.context.clear_cookies()
    phone.goto(reverse("account_login"))
    press(phone, "Use a passkey")
    phone.wait_for_url(lambda url: url.endswith("/"), timeout=15000)
    phone.get_by_text("Menu", exact=True).click()
    expect(phone.get_by_role("button", name="Sign out")).to_be_visible()
