"""A check of a history whose old months are in archives: it speaks of the rest, and says so."""

from html import unescape
from pathlib import Path

import pytest
from django.test import Client

from audit.checking.actions import start_check
from audit.checking.models import HistoryCheck
from audit.checking.run import run_check
from audit.retention.archive import archive_before
from audit.sealing.seal import seal
from audit.sealing.store import entries_at
from tests.audit.months import year
from tests.audit.sealed import unguarded
from tests.cast import Cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


def checked(cast: Cast) -> HistoryCheck:
    made = start_check(by=cast.owner)
    seal()
    assert run_check(made.pk)
    made.refresh_from_db()
    return made


def test_what_is_in_archives_is_counted_apart(cast: Cast, tmp_path: Path) -> None:
    year("2021-01", (11, 40, 7))
    archived = archive_before(
        by=None, month="2021-03", folder=tmp_path, reason="two years are over"
    )
    seal()
    made = checked(cast)
    assert made.intact, made.findings
    assert made.left_out == sum(one.entries for one in archived)
    assert made.proven == made.entries == made.size - made.left_out
    browser = Client()
    browser.force_login(cast.owner)
    page = unescape(browser.get("/history/intact/").content.decode())
    assert f"{made.left_out} are kept in archives" in page
    assert "not looked at; check the whole with it offline" in page
    assert "--archive" not in page


def test_leaves_without_entries_and_without_a_record_are_missing(
    cast: Cast, tmp_path: Path
) -> None:
    year("2021-01", (11, 40, 7))
    gone = entries_at(0, 12)
    unguarded("DELETE FROM audit_entry WHERE id BETWEEN %s AND %s", min(gone), max(gone))
    made = checked(cast)
    assert (made.intact, "missing" in made.counts) == (False, True)
