"""The owner's browser remembers the last checkpoint it saw, and tells when history is another."""

from pathlib import Path

import pytest
from playwright.sync_api import Page
from pytest_django import Settings

from audit.sealing.seal import seal
from stations.equipment.models import Site
from tests.audit.sealed import unguarded
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits
from tests.cast import Cast


def sealed(name: str) -> None:
    Site.objects.create(code=name, name=name, time_zone="Europe/Lisbon", altitude=3)
    while seal():
        pass


def told(page: Page) -> str:
    """The one sentence that is shown."""
    page.wait_for_selector("[data-ledger-state=off]", state="hidden")
    return page.locator("p[data-ledger-state]:visible").inner_text()


@pytest.mark.django_db(transaction=True)
def test_a_browser_that_saw_a_checkpoint_tells_what_became_of_it(
    open_page: OpenPage, cast: Cast, settings: Settings, tmp_path: Path
) -> None:
    settings.LEDGER_KEY_FILE = str(tmp_path / "ledger_key")
    sealed("one")
    page = open_page(cast.owner, "/history/ledger/", screen="desk")
    assert "now keeps the checkpoint" in told(page)
    axe(page)
    fits(page)
    for name in ("two", "three", "four", "five"):
        sealed(name)
        page.reload()
        assert "still there, unchanged" in told(page)
    unguarded("UPDATE audit_checkpoint SET root = sha256('') WHERE id ="
              " (SELECT max(id) FROM audit_checkpoint)")  # fmt: skip
    page.reload()
    assert "does not follow from it" in told(page)
    page.reload()  # it does not forget what it kept
    assert "does not follow from it" in told(page)
    axe(page)


@pytest.mark.django_db(transaction=True)
def test_without_javascript_it_says_what_to_do_instead(
    open_page: OpenPage, cast: Cast, settings: Settings, tmp_path: Path
) -> None:
    settings.LEDGER_KEY_FILE = str(tmp_path / "ledger_key")
    sealed("one")
    page = open_page(cast.owner, "/history/ledger/", screen="phone", script=False)
    sentence = page.locator("[data-ledger-state=off]")
    assert sentence.is_visible()
    assert "This needs JavaScript" in sentence.inner_text()
    assert not page.locator("[data-ledger-state=holds]").is_visible()
