"""An entry that was sealed late says so on its page; what happened to sealing has a table."""

from pathlib import Path

import pytest
from playwright.sync_api import expect
from pytest_django import Settings

from audit.capture.models import Entry
from audit.sealing.seal import seal
from tests.audit.sealed import unguarded
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe
from tests.cast import Cast

pytestmark = pytest.mark.django_db(transaction=True)
FORGED = (
    "INSERT INTO audit_entry (at, txid, operation, actor, action, changes) VALUES"
    " (now() - interval '2 hours', 3, 'changed', 'Head roaster', 'version.approved', '{}')"
)


@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_a_late_entry_and_the_event_beside_it(
    open_page: OpenPage, cast: Cast, settings: Settings, tmp_path: Path, screen: str
) -> None:
    settings.LEDGER_KEY_FILE = str(tmp_path / "ledger_key")
    seal()
    unguarded(FORGED)
    forged = Entry.objects.latest("id").pk
    seal(beneath=True)
    page = open_page(cast.owner, f"/history/{forged}/", screen=screen)
    expect(page.get_by_text("Sealed late", exact=True)).to_be_visible()
    axe(page)
    page.goto("/history/")
    expect(page.get_by_text("Sealed late", exact=True)).to_be_visible()
    axe(page)
    page.goto("/history/ledger/")
    expect(page.get_by_role("heading", name="What happened to it")).to_be_visible()
    axe(page)
