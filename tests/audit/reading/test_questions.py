"""Every question is answered by a short walk along an index, however long the history is."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_django.plugin import DjangoDbBlocker

from audit.capture.models import Entry
from audit.capture.partitions import bounds
from audit.reading.queries import HistoryFilter, page_of
from tests.audit import past
from tests.services import rounds

COUNT = rounds(2_000_000, 100_000)
SOME = frozenset(range(3, 60))  # sites without an entry in the newest tenth
EFFORT = 900  # entries a page may look through where conditions seldom meet
READ = 52 * (len(SOME) + 1)  # rows: a page and one more from each site's walk

QUESTIONS = {
    "everything": (HistoryFilter(), None),
    "a site of old": (HistoryFilter(site=200), None),
    "a busy site": (HistoryFilter(site=1), None),
    "a subject": (HistoryFilter(subject_type="slot", subject_id=77), None),
    "a person": (HistoryFilter(actor=12), None),
    "an action of old": (HistoryFilter(action="site.changed"), None),
    "a parameter of old": (HistoryFilter(parameter="brew_temperature"), None),
    "a day of old": (HistoryFilter(since=date(2016, 5, 1), until=date(2016, 5, 1)), None),
    "days until": (HistoryFilter(until=date(2016, 5, 1)), None),
    "nothing after": (HistoryFilter(since=date(2030, 1, 1)), None),
    "an action in a month": (
        HistoryFilter(action="version.approved", since=date(2016, 5, 1), until=date(2016, 5, 31)),
        None,
    ),
    "a parameter at a site": (HistoryFilter(site=1, parameter="brew_temperature"), None),
    "a parameter at a site without": (HistoryFilter(site=200, parameter="brew_temperature"), None),
    "what a person never did": (HistoryFilter(actor=12, action="site.changed"), None),
    "what nobody was refused": (HistoryFilter(actor=12, operation="refused"), None),
    "own sites": (HistoryFilter(), SOME),
    "own sites in a month": (
        HistoryFilter(since=date(2016, 5, 1), until=date(2016, 5, 31)),
        SOME,
    ),
    "an action of old within own sites": (HistoryFilter(action="site.changed"), SOME),
    "a person within own sites": (HistoryFilter(actor=12), SOME),
    "one of one's own sites": (HistoryFilter(site=7), SOME),
    "a subject within own sites": (HistoryFilter(subject_type="slot", subject_id=77), SOME),
}


@pytest.fixture(scope="module")
def _long_past(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    with django_db_blocker.unblock():
        connection.set_autocommit(False)
        try:
            past.write(COUNT)
            yield
        finally:
            connection.rollback()
            connection.set_autocommit(True)


def nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for part in plan.get("Plans", []):
        yield from nodes(part)


def scans(sql: str) -> list[dict[str, Any]]:
    """Every reading of the history in the plan that was really carried out."""
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (ANALYZE, TIMING OFF, FORMAT JSON) {sql}")
        (plan,) = cursor.fetchone()[0]
    return [n for n in nodes(plan["Plan"]) if n.get("Relation Name", "").startswith("audit_entry")]


def rows_read(node: dict[str, Any]) -> float:
    gone = node.get("Rows Removed by Filter", 0) + node.get("Rows Removed by Index Recheck", 0)
    return float((node["Actual Rows"] + gone) * node["Actual Loops"])


@pytest.mark.django_db
@pytest.mark.usefixtures("_long_past")
@pytest.mark.parametrize("name", QUESTIONS)
@pytest.mark.parametrize("deep", [False, True])
def test_a_page_reads_little(name: str, deep: bool) -> None:
    wanted, scope = QUESTIONS[name]
    bounds()  # asked for once in ten minutes, not once a page
    middle = Entry.objects.order_by("-pk").values_list("pk", flat=True)[COUNT // 2]
    keys: list[dict[str, Any]] = [{"before": middle}, {"after": middle}] if deep else [{}]
    for near in keys:
        with CaptureQueriesContext(connection) as seen:
            page_of(wanted, scope, effort=EFFORT, **near)
        assert len(seen) <= 3
        for query in seen.captured_queries:
            found = scans(query["sql"])
            assert not [n for n in found if n["Node Type"] == "Seq Scan"], query["sql"]
            assert sum(rows_read(n) for n in found) <= READ, (found, query["sql"])
