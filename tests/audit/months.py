"""Months that pass when a test says so."""

from collections.abc import Iterable, Iterator
from datetime import date

from django.db import connection

from audit.capture import partitions as module
from audit.capture.partitions import Partition, partitions
from audit.sealing.seal import seal
from tests.audit.sample import run
from tests.audit.sealed import shelves

# The very function of the migration, told the time.
ROLL_AT = module.ROLL.replace("clock_timestamp()", "moment").replace(
    "CREATE FUNCTION audit_roll()", "CREATE OR REPLACE FUNCTION pg_temp.roll_at(moment timestamptz)"
)


def roll_at(month: str) -> str | None:
    """As `roll` would on the first day of a month ("2021-03")."""
    with connection.cursor() as cursor:
        cursor.execute(ROLL_AT)
        cursor.execute("SELECT pg_temp.roll_at(%s)", [f"{month}-01"])
        name: str | None = cursor.fetchone()[0]
    return name


def begin_in(month: str) -> None:
    """As if the one partition there is had been opened in that month."""
    (only,) = partitions()
    run(f"ALTER TABLE {only.name} RENAME TO audit_entry_{month.replace('-', '_')}")


def months(first: str, count: int) -> Iterator[str]:
    """So many months, one after the other."""
    day = date.fromisoformat(f"{first}-01")
    for _ in range(count):
        yield f"{day:%Y-%m}"
        day = date(day.year + day.month // 12, day.month % 12 + 1, 1)


def partition(month: str) -> Partition:
    """The partition opened in that month."""
    return next(one for one in partitions() if one.month == month)


def one_again() -> None:
    """Back to the single open partition of a fresh database, empty."""
    *closed, last = partitions()
    for one in closed:
        run(f"DROP TABLE {one.name}")
    run(f"ALTER TABLE audit_entry DETACH PARTITION {last.name}")
    run(f"ALTER TABLE {last.name} RENAME TO audit_entry_2000_01")
    run("ALTER TABLE audit_entry ATTACH PARTITION audit_entry_2000_01"
        " FOR VALUES FROM (MINVALUE) TO (MAXVALUE)")  # fmt: skip
    run("SET session_replication_role = replica; TRUNCATE audit_entry;"
        " RESET session_replication_role; SELECT audit_roll()")  # fmt: skip


def year(first: str, sizes: Iterable[int]) -> None:
    """A closed month for each size, with so many entries, all sealed; and the open one after."""
    sizes = list(sizes)
    begin_in(first)
    after = list(months(first, len(sizes) + 1))[1:]
    for size, month in zip(sizes, after, strict=True):
        shelves(size)
        seal()
        assert roll_at(month)
