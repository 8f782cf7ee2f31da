"""Signing with a passkey in a real browser, by a made-up authenticator: approve and publish."""

import re

import pytest
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from django.urls import reverse
from playwright.sync_api import Page, expect

from audit.capture.context import recorded
from people.persons.models import User
from people.sign_in.urls import OWN_ACCOUNT
from people.signatures.models import Signature
from recipes.publishing.models import Publication
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits, touchable
from tests.browser.test_main_path import press
from tests.browser.test_second_factor_pages import AUTHENTICATOR, look
from tests.cast import PASSWORD
from tests.people.passkeys.device import Device
from tests.recipes.shelf import make_in_review

VERIFIED = "With passkey “Till tablet”, verified"


def with_passkey(open_page: OpenPage, person: User, path: str) -> Page:
    """Somebody's browser, with a passkey added by the page for it, at that address."""
    page = open_page(None, reverse("account_login"))
    keys = page.context.new_cdp_session(page)
    keys.send("WebAuthn.enable")
    keys.send("WebAuthn.addVirtualAuthenticator", {"options": AUTHENTICATOR})
    page.get_by_label("E-mail address").fill(person.email)
    page.get_by_label("Password").fill(PASSWORD)
    press(page, "Sign in")
    page.wait_for_url("**/")
    look(page, "mfa_add_webauthn")
    page.get_by_label("Name, such as phone").fill("Till tablet")
    press(page, "Add it")
    page.wait_for_url(lambda url: not url.endswith(reverse("mfa_add_webauthn")))
    page.goto(path)
    return page


def fine(page: Page) -> None:
    """As every page must be."""
    axe(page)
    fits(page)
    touchable(page)


def test_a_version_is_submitted_and_approved_with_a_passkey(open_page: OpenPage, bar: Bar) -> None:
    version = make_in_review(bar.cast, bar.version.recipe)
    approver = bar.cast.second_roaster
    page = with_passkey(open_page, approver, f"/versions/{version.pk}/approve/")
    fine(page)
    press(page, "Sign with passkey")
    page.wait_for_url(f"**/versions/{version.pk}/")
    expect(page.locator("main .mark").first).to_have_text("Approved")
    expect(page.locator("main")).to_contain_text(VERIFIED)
    fine(page)


def test_a_publication_is_signed_with_a_passkey(open_page: OpenPage, bar: Bar) -> None:
    page = with_passkey(open_page, bar.cast.head_roaster, f"/versions/{bar.version.pk}/")
    press(page, "Publish")
    page.get_by_label("Every slot").check()
    press(page, "Show the plan")
    press(page, "Sign with passkey")  # without a reason: told, and nothing is asked
    expect(page.locator(".error-summary")).to_be_focused()
    page.get_by_label("Reason").fill("New crop")
    press(page, "Sign with passkey")
    page.wait_for_url(re.compile(r"/publications/\d+/"))
    published = Publication.objects.get()
    signature = Signature.objects.get(subject_type="publication")
    assert (signature.subject_id, signature.manner) == (published.pk, "passkey")
    expect(page.locator("main")).to_contain_text(VERIFIED)


def test_whoever_does_not_confirm_signs_nothing_and_may_type(open_page: OpenPage, bar: Bar) -> None:
    version = make_in_review(bar.cast, bar.version.recipe)
    approver = bar.cast.second_roaster
    page = with_passkey(open_page, approver, f"/versions/{version.pk}/approve/")
    keys = page.context.new_cdp_session(page)
    keys.send("WebAuthn.disable")  # unplugged
    keys.send("WebAuthn.enable")
    keys.send(
        "WebAuthn.addVirtualAuthenticator", {"options": AUTHENTICATOR | {"isUserVerified": False}}
    )
    press(page, "Sign with passkey")
    expect(page.locator("#passkey-status")).to_contain_text("Nothing is signed")
    fine(page)
    assert not Signature.objects.filter(subject_type="version", subject_id=version.pk).exists()
    with recorded(by=approver, action=OWN_ACCOUNT):
        spare = RecoveryCodes.activate(approver).get_unused_codes()[0]
    page.get_by_text("Sign with password and code instead").click()
    page.get_by_label("Your e-mail address").fill(approver.email)
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_label("Code of your second factor").fill(spare)
    press(page, "Sign and approve")
    page.wait_for_url(f"**/versions/{version.pk}/")
    expect(page.locator("main")).to_contain_text("By password and code")


@pytest.mark.parametrize("screen", ["phone", "tablet"])
def test_without_script_password_and_code_are_there(
    open_page: OpenPage, bar: Bar, screen: str
) -> None:
    version = make_in_review(bar.cast, bar.version.recipe)
    Device().of(bar.cast.second_roaster)
    address = f"/versions/{version.pk}/approve/"
    page = open_page(bar.cast.second_roaster, address, screen=screen, script=False)
    press(page, "Sign with passkey")
    expect(page.locator("main")).to_contain_text("which passkeys need")
    page.get_by_text("Sign with password and code instead").click()
    expect(page.get_by_label("Code of your second factor")).to_be_visible()
