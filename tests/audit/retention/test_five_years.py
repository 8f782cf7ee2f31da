"""Sixty months of partitions: questions open few of them, and all of it can be archived."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext, override_settings
from pymerkle import InmemoryTree
from pytest_django import Settings
from pytest_django.plugin import DjangoDbBlocker

from audit.capture.models import Entry
from audit.capture.partitions import bounds, partitions
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.reading.queries import HistoryFilter, page_of
from audit.retention.archive import archive_before
from audit.retention.models import Archive
from audit.sealing.proofs import inclusion
from audit.sealing.seal import seal
from tests.audit.months import year
from tests.audit.reading.test_questions import nodes
from tests.audit.retention.test_archive import folder
from tests.audit.sealed import ALL, last_checkpoint, sealed_ids, shelves, unguarded

__all__ = ["folder"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("five_years")]
EACH, MONTHS = 6, 60


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> str:
    """One signing key for the module."""
    return str(tmp_path_factory.mktemp("key") / "ledger_key")


@pytest.fixture(autouse=True)
def key_file(settings: Settings, key: str) -> Path:
    settings.LEDGER_KEY_FILE = key
    return Path(key)


@pytest.fixture(scope="module")
def five_years(sample_tables: None, key: str, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Sixty closed months, and an open one with more than a page. Made once, rolled back."""
    with django_db_blocker.unblock(), override_settings(LEDGER_KEY_FILE=key):
        connection.set_autocommit(False)
        try:
            unguarded(f"TRUNCATE {ALL}")
            year("2020-01", [EACH] * MONTHS)
            shelves(80)
            while seal():
                pass
            yield
        finally:
            connection.rollback()
            connection.set_autocommit(True)


def opened(sql: str) -> set[str]:
    """The partitions that a query really looks into."""
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (ANALYZE, TIMING OFF, FORMAT JSON) {sql}")
        (plan,) = cursor.fetchone()[0]
    found: list[dict[str, Any]] = [n for n in nodes(plan["Plan"]) if n["Actual Loops"]]
    return {n["Relation Name"] for n in found if "audit_entry" in n.get("Relation Name", "")}


def looked_into(
    wanted: HistoryFilter,
    scope: frozenset[int] | None,
    **key: Any,  # noqa: ANN401
) -> list[set[str]]:
    """By each query for a page."""
    bounds()
    with CaptureQueriesContext(connection) as seen:
        page_of(wanted, scope, **key)
    return [opened(query["sql"]) for query in seen.captured_queries]


BUSY = HistoryFilter(site=3)


@pytest.mark.parametrize(
    ("wanted", "scope"),
    [(HistoryFilter(), None), (BUSY, None), (HistoryFilter(), frozenset({3})),
     (HistoryFilter(action="database.changed"), None)],
)  # fmt: skip
def test_page_one_looks_into_the_newest_partition_alone(
    wanted: HistoryFilter, scope: frozenset[int] | None
) -> None:
    assert len(partitions()) == MONTHS + 1
    assert looked_into(wanted, scope) == [{partitions()[-1].name}]


def test_a_page_of_old_looks_into_no_newer_partition() -> None:
    old = partitions()[20]
    (found,) = looked_into(BUSY, None, before=old.first or 0)
    assert found == {one.name for one in partitions()[:20]}


def test_walking_page_by_page_meets_every_entry_once() -> None:
    for wanted in (HistoryFilter(), BUSY):
        met, before = list[int](), None
        while True:
            page = page_of(wanted, None, before=before, size=13)
            met += [entry.pk for entry in page.entries]
            before = page.older_than
            if before is None:
                break
        rows = Entry.objects.filter(site_id=3) if wanted is BUSY else Entry.objects.all()
        assert met == list(rows.order_by("-pk").values_list("pk", flat=True))
        after: int | None = met[-1]
        back = list[int]()
        while after is not None:
            page = page_of(wanted, None, after=after, size=13)
            back += [entry.pk for entry in reversed(page.entries)]
            after = page.newer_than
        assert back == met[-2::-1]


def test_all_but_the_open_month_archived(folder: Path) -> None:
    ids, kept = sealed_ids(), last_checkpoint()
    made = archive_before(by=None, month="2025-01", folder=folder, reason="five years are over")
    assert len(made) == Archive.objects.count() == len(list(folder.iterdir())) == MONTHS
    assert [one.month for one in partitions()] == ["2025-01"]
    seal()
    exported = list(bundle())
    files = {path.name: path.read_bytes() for path in sorted(folder.iterdir())}
    report = verify(
        exported,
        since=[kept.note],
        archives={name: raw.splitlines(keepends=True) for name, raw in files.items()},
    )
    assert report.intact, list(report.lines())
    assert report.looked_at == MONTHS * EACH + 1
    assert report.size == len(ids) + MONTHS
    raw = b"".join([*files.values(), *exported])
    peer = InmemoryTree.init_from_entries(
        [line for line in raw.splitlines() if line.startswith(b"{")], algorithm="sha256"
    )
    assert peer.get_root() == bytes(last_checkpoint().root)
    for index in (0, 100, 200, 300, 400):
        proof = inclusion(ids[index])
        assert proof is not None
        theirs = peer.prove_inclusion(index + 1).path
        assert proof.proof == [step for step in theirs if step != proof.leaf]
