"""Rolling into a new month while everybody writes, and as the program's role."""

import threading

import pytest
from django.db import connection, connections
from psycopg import sql

from audit.capture.models import Entry
from audit.capture.partitions import partitions, roll
from audit.privileges import program_cannot_alter_history
from tests.audit.capture.test_privileges import denied
from tests.audit.months import begin_in, partition
from tests.audit.roles import Connection, program, role
from tests.audit.sample import empty, run
from tests.audit.sealed import sealed_ids, shelves
from tests.races import at_once

__all__ = ["program", "role"]
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("one_partition")]
PART = "audit_entry_2021_09"


def test_many_callers_and_many_writers() -> None:
    """Every write is in one partition or the other, none is lost, and one caller rolled."""
    begin_in("2021-09")
    shelves(1)
    before, each = Entry.objects.count(), 30

    def write() -> str:
        for _ in range(each):
            run("INSERT INTO sample_shelf (name, site_id) VALUES ('s', 3)")
        return "written"

    told = at_once([*(lambda: str(roll()) for _ in range(6)), *([write] * 6)])
    assert not [one for one in told if isinstance(one, Exception)]
    assert len([one for one in told if str(one).startswith("audit_entry_")]) == 1
    assert partitions()[0].month == "2021-09"
    assert len(partitions()) == 2
    assert Entry.objects.count() == before + 6 * each
    stop = partition("2021-09").stop or 0
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*), max(id) FROM {PART}")
        held, last = cursor.fetchone()
    assert (Entry.objects.filter(pk__lt=stop).count(), last < stop) == (held, True)
    empty()


def test_where_somebody_writes_for_long_it_gives_way() -> None:
    begin_in("2021-09")
    shelves(1)
    slow = connections["default"].copy()
    try:
        slow.set_autocommit(False)
        with slow.cursor() as cursor:
            cursor.execute("INSERT INTO sample_shelf (name, site_id) VALUES ('slow', 3)")
        assert roll() is None
        assert len(partitions()) == 1
        slow.commit()
    finally:
        slow.close()
    assert roll() == partitions()[-1].name
    empty()


def test_a_late_commit_is_sealed_wherever_it_lies(key_file: object) -> None:
    from audit.sealing.seal import seal  # noqa: PLC0415

    begin_in("2021-09")
    shelves(3)
    gate = threading.Event()

    def late() -> int:
        gate.set()
        run("BEGIN; INSERT INTO sample_shelf (name, site_id) VALUES ('late', 3);"
            " SELECT pg_sleep(0.5); COMMIT")  # fmt: skip
        return 0

    def rolling() -> int:
        gate.wait(10)
        while roll() is None:
            pass
        shelves(2)
        return seal()

    assert not [one for one in at_once([late, rolling]) if isinstance(one, Exception)]
    while seal():
        pass
    assert sorted(sealed_ids()) == sorted(Entry.objects.values_list("pk", flat=True))
    assert len(partitions()) == 2
    empty()


def test_the_program_may_roll_and_has_no_right_to_any_partition(program: Connection) -> None:
    begin_in("2021-09")
    shelves(1)
    answer = program.execute("SELECT audit_roll()").fetchone()
    assert answer == (partitions()[-1].name,)
    for part in partitions():
        for command in (
            f"SELECT * FROM {part.name}",
            f"INSERT INTO {part.name} (operation, changes) VALUES ('refused', '{{}}')",
            f"TRUNCATE {part.name}",
            f"ALTER TABLE audit_entry DETACH PARTITION {part.name}",
            f"DROP TABLE {part.name}",
            f"SELECT audit_guard_partition('{part.name}')",
        ):
            denied(program, command)
    assert program.execute("SELECT count(*) FROM audit_entry").fetchone() != (0,)
    assert program.execute("SELECT audit_roll()").fetchone() == ("",)
    empty()


@pytest.mark.parametrize("right", ["INSERT", "UPDATE (reason)", "TRUNCATE"])
def test_the_deploy_check_looks_at_partitions_too(role: str, right: str) -> None:
    begin_in("2021-09")
    shelves(1)
    roll()
    grant = sql.SQL(f"GRANT {right} ON {PART} TO {{}}").format(sql.Identifier(role))
    run(grant.as_string())
    plain = connections["default"].settings_dict
    connection.close()
    connections["default"].settings_dict = {**plain, "USER": role, "PASSWORD": role}
    try:
        (error,) = program_cannot_alter_history(databases=["default"])
    finally:
        connection.close()
        connections["default"].settings_dict = plain
    assert error.id == "audit.E003"
    assert PART in error.msg
    empty()
