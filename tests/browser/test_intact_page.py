"""An owner asks whether the history is intact, with JavaScript and without."""

from pathlib import Path

import pytest
from pytest_django import Settings

from audit.checking.models import HistoryCheck
from audit.checking.run import run_check
from audit.sealing.seal import seal
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits
from tests.cast import Cast


@pytest.fixture(autouse=True)
def key_file(settings: Settings, tmp_path: Path) -> None:
    settings.LEDGER_KEY_FILE = str(tmp_path / "ledger_key")


def run_it() -> None:
    """What the worker does."""
    while seal():
        pass
    run_check(HistoryCheck.objects.get(state="running").pk)


@pytest.mark.django_db(transaction=True)
def test_the_answer_comes_by_itself(open_page: OpenPage, cast: Cast) -> None:
    page = open_page(cast.owner, "/history/intact/", screen="desk")
    page.get_by_role("button", name="Check the history").click()
    part = page.locator("#check")
    assert "A worker starts it" in part.inner_text()
    axe(page)
    run_it()
    part.get_by_text("is intact: all").wait_for()
    assert part.locator("progress").count() == 0
    axe(page)
    fits(page)
    page.get_by_role("button", name="Check the history").click()
    page.get_by_role("button", name="Check the history").click()
    assert "under way already" in page.locator("main").inner_text()


@pytest.mark.django_db(transaction=True)
def test_without_javascript_one_looks_again(open_page: OpenPage, cast: Cast) -> None:
    page = open_page(cast.owner, "/history/intact/", screen="phone", script=False)
    page.get_by_role("button", name="Check the history").click()
    run_it()
    page.get_by_role("link", name="Look again").click()
    assert "is intact: all" in page.locator("#check").inner_text()
    fits(page)
