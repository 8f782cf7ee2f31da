"""A partition a month: entries find theirs, and every one is guarded like the whole."""

import pytest
from django.db import DatabaseError, connection, transaction

from audit.capture.models import Entry
from audit.capture.partitions import Partition, partitions, roll
from tests.audit.conftest import newest
from tests.audit.months import begin_in, partition, roll_at
from tests.audit.sample import run
from tests.audit.sealed import shelves

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]
AUTUMN = "audit_entry_2021_09"


def held(month: str) -> int:
    """How many entries a month's partition holds."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {partition(month).name}")
        return int(cursor.fetchone()[0])


@pytest.fixture
def autumn() -> None:
    """Two closed months with entries and an open one."""
    begin_in("2021-09")
    for number, month in ((3, "2021-10"), (4, "2021-11")):
        shelves(number)
        assert roll_at(month) == f"audit_entry_{month.replace('-', '_')}"
    shelves(5)


def test_there_is_one_open_partition_from_the_start() -> None:
    (only,) = partitions()
    assert (only.first, only.stop) == (None, None)
    assert roll() == ""  # it is this month's


def test_entries_go_to_the_month_they_are_written_in(autumn: None) -> None:
    assert [held(month) for month in ("2021-09", "2021-10", "2021-11")] == [3, 4, 5]
    ends = [(one.first, one.stop) for one in partitions()]
    assert ends[0][0] is None
    assert ends[0][1] == ends[1][0]
    assert ends[1][1] == ends[2][0]
    assert ends[2][1] is None
    assert Entry.objects.count() == 12
    assert len(set(Entry.objects.values_list("pk", flat=True))) == 12


def test_a_month_that_has_one_gets_no_other(autumn: None) -> None:
    before = partitions()
    for month in ("2021-11", "2021-10", "1999-01"):  # and a clock set back opens none
        assert roll_at(month) == ""
    assert partitions() == before


def test_an_open_partition_without_entries_is_only_renamed() -> None:
    begin_in("2021-09")
    assert roll_at("2021-12") == "audit_entry_2021_12"
    assert partitions() == [Partition("audit_entry_2021_12", "2021-12", None, None)]


def test_months_that_nobody_rolled_are_one_longer_partition(autumn: None) -> None:
    assert roll_at("2022-06") == "audit_entry_2022_06"
    assert [one.month for one in partitions()] == ["2021-09", "2021-10", "2021-11", "2022-06"]
    assert held("2021-11") == 5


@pytest.mark.parametrize(
    "sql",
    [
        f"UPDATE {AUTUMN} SET actor = 'nobody'",
        f"DELETE FROM {AUTUMN}",
        f"TRUNCATE {AUTUMN}",
        "TRUNCATE audit_entry_2021_11",
        "TRUNCATE audit_entry",
        f"INSERT INTO {AUTUMN} (id, operation) OVERRIDING SYSTEM VALUE VALUES (-5, 'refused')",
        "INSERT INTO audit_entry (id, operation) OVERRIDING SYSTEM VALUE VALUES (-5, 'refused')",
        "UPDATE audit_entry SET id = id + 1000000",
    ],
)
def test_the_owner_can_not_write_to_a_closed_one(autumn: None, sql: str) -> None:
    before = list(Entry.objects.order_by("pk").values())
    with pytest.raises(DatabaseError), transaction.atomic():
        run(sql)
    assert list(Entry.objects.order_by("pk").values()) == before


def test_a_refusal_written_directly_still_gets_an_id_of_its_own(autumn: None) -> None:
    mark = newest()
    run("INSERT INTO audit_entry (operation, changes) VALUES ('refused', '{}')")
    assert newest() > mark
    assert held("2021-11") == 6


def test_every_partition_has_every_trigger_and_index_of_the_whole(autumn: None) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT c.relname, (SELECT count(*) FROM pg_trigger t WHERE t.tgrelid = c.oid"
            " AND t.tgenabled = 'O'), (SELECT count(*) FROM pg_index i WHERE i.indrelid = c.oid"
            " AND i.indisvalid) FROM pg_class c"
            " WHERE c.relname LIKE 'audit\\_entry%' AND c.relkind IN ('r', 'p') ORDER BY 1"
        )
        (whole, *parts) = cursor.fetchall()
    assert whole == ("audit_entry", 3, 10)
    assert [part[1:] for part in parts] == [(3, 10)] * 3
