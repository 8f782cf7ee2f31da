"""Everything refused is one filter: who, what, from which client; repeats are one line."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from audit.capture.context import Channel, RequestContext, record_refusal, request_context
from audit.capture.models import Entry
from audit.errors import Refused, Subject
from audit.reading.queries import HistoryFilter, page_of
from audit.reading.repeats import attempts_of
from people.persons.models import User
from tests.audit.conftest import SORTED
from tests.cast import Cast, SignedIn

NOON = datetime(2026, 8, 1, 12, tzinfo=UTC)


def entry(seconds: int, tries: int = 1, reason: str = "No.", operation: str = "refused") -> Entry:
    told = f" (One of {tries} tries within a minute.)" if tries > 1 else ""
    at = NOON + timedelta(seconds=seconds)
    return Entry(at=at, operation=operation, actor="Barista", reason=reason + told, changes={})


def tries(*entries: Entry) -> list[int]:
    return [each.tries for each in attempts_of(reversed(entries))]


@pytest.mark.parametrize(
    ("entries", "told"),
    [
        ([entry(0)], [1]),
        ([entry(n) for n in range(5)] + [entry(9, 10), entry(40, 100)], [100]),
        ([entry(0), entry(50), entry(130), entry(140)], [4]),
        ([*(entry(n) for n in range(5)), entry(9, 10), entry(70), entry(80, 10)], [20]),
        ([entry(0), entry(1, reason="Never."), entry(2)], [1, 1, 1]),
        ([entry(0, operation="changed"), entry(1, operation="changed")], [1, 1]),
    ],
)
def test_how_often_it_was_tried(entries: list[Entry], told: list[int]) -> None:
    assert tries(*entries) == told


def refuse(by: User | None, times: int = 1, number: int = 1) -> None:
    token = request_context.set(RequestContext(Channel.PAGE, "asked-1", "192.0.2.7"))
    for _ in range(times):
        about = Subject("slot", number, f"Slot {number}")
        record_refusal(Refused("It is locked.", subject=about), by=by, action=SORTED)
    request_context.reset(token)


@pytest.fixture
def owner(cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.owner)


def test_one_filter_over_everything_refused(owner: Client, cast: Cast) -> None:
    refuse(cast.barista)
    refuse(None, number=2)
    page = owner.get("/history/?outcome=refused").content.decode()
    assert page.count('<th scope="row" data-label="Time">') == 2
    assert page.count("from 192.0.2.7") == 2
    assert "Barista" in page
    assert "Slot 2" in page
    told = owner.get("/api/v1/history/?outcome=refused").json()["results"]
    assert {each["operation"] for each in told} == {"refused"}
    assert owner.get("/history/?outcome=done").status_code == 400
    assert owner.get("/api/v1/history/?outcome=").status_code == 400


def test_the_same_again_is_one_line(owner: Client, cast: Cast) -> None:
    refuse(cast.barista, times=7)
    page = owner.get("/history/?outcome=refused").content.decode()
    assert page.count('<th scope="row" data-label="Time">') == 1
    assert "It is locked. At least 7 tries since" in page


def test_it_walks_an_index_of_its_own(db: None) -> None:
    with CaptureQueriesContext(
        connection,
    ) as asked:
        page_of(HistoryFilter(operation="refused"), None)
    sql = asked.captured_queries[-1]["sql"]
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute(f"EXPLAIN {sql}")
        plan = "\n".join(row[0] for row in cursor.fetchall())
    assert "operation_id_idx" in plan or "entry_refused" in plan, plan
    assert "Sort" not in plan, plan
