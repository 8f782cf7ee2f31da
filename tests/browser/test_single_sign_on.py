"""Single sign-on in a real browser: out to a real provider and back in, and signing by its word."""

import re
import time
from collections.abc import Iterator

import pytest
import requests
from oidc_provider_mock import run_server_in_thread
from playwright.sync_api import Page, expect
from pytest_django.fixtures import Settings

from config.settings.security import single_sign_on_settings
from people.persons.models import User
from people.signatures.models import Signature
from recipes.publishing.models import Publication
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits, touchable
from tests.browser.test_main_path import press
from tests.cast import Cast


@pytest.fixture
def issuer(settings: Settings) -> Iterator[str]:
    """A provider on loopback, named by the settings."""
    with run_server_in_thread() as server:
        made = f"http://localhost:{server.server_port}"
        named = single_sign_on_settings(made, "portaledger", "x", "Group sign-on")
        for name, value in named.items():
            setattr(settings, name, value)
        yield made


def over_there(page: Page, issuer: str, person: User) -> None:
    """They prove who they are, at this moment."""
    claims: dict[str, str | bool | int] = {"email": person.email, "email_verified": True}
    claims["auth_time"] = int(time.time())
    requests.put(f"{issuer}/users/s-1", json=claims, timeout=5).raise_for_status()
    # The provider's own page wants a style sheet from elsewhere, which tests never reach.
    page.route(re.compile("^https://"), lambda route: route.fulfill(content_type="text/css"))
    page.get_by_role("link", name="Group sign-on").click()
    page.get_by_placeholder("sub").fill("s-1")
    page.get_by_role("button", name="Authorize").click()


def fine(page: Page) -> None:
    """As every page must be."""
    axe(page)
    fits(page)
    touchable(page)


def test_somebody_signs_in_over_there(cast: Cast, open_page: OpenPage, issuer: str) -> None:
    page = open_page(None, "/account/login/?next=/account/sessions/")
    axe(page)
    over_there(page, issuer, cast.barista)
    expect(page.get_by_role("heading", name="Sessions", level=1)).to_be_visible()
    expect(page.get_by_text("by single sign-on")).to_be_visible()
    expect(page.get_by_text("s-1")).to_be_visible()
    axe(page)
    fits(page)


def test_a_publication_is_signed_by_the_provider_s_word(
    bar: Bar, open_page: OpenPage, issuer: str
) -> None:
    """What was typed before going there is there again, and nothing is signed until it is sent."""
    roaster = bar.cast.head_roaster
    User.objects.filter(pk=roaster.pk).update(password="!none")
    page = open_page(None, f"/account/login/?next=/versions/{bar.version.pk}/")
    over_there(page, issuer, roaster)
    press(page, "Publish")
    page.get_by_label("Every slot").check()
    press(page, "Show the plan")
    page.get_by_label("Reason").fill("New crop")
    fine(page)
    press(page, "Ask Group sign-on")
    expect(page.get_by_role("status").filter(has_text="Nothing is signed yet")).to_be_focused()
    fine(page)
    over_there(page, issuer, roaster)
    expect(page.get_by_label("Reason")).to_have_value("New crop")
    expect(page.locator("main")).to_contain_text("has said that it is you")
    assert not Publication.objects.exists()
    fine(page)
    press(page, "Sign and publish")
    page.wait_for_url(re.compile(r"/publications/\d+/"))
    signature = Signature.objects.get(subject_type="publication")
    assert (signature.subject_id, signature.manner) == (Publication.objects.get().pk, "single")
    expect(page.locator("main")).to_contain_text("By single sign-on")
