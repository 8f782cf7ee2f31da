"""The tables to take away: canonical rows of one moment, for `audit.ledger verify --tables`."""

import json
from collections.abc import Iterator, Sequence

from django.db import connection, transaction

from audit.ledger.bundle.tables import About, line
from audit.reading.labels import FORMER
from audit.reconciling import replay
from audit.reconciling.tables import GovernedTable, former_columns, governed_tables
from audit.sealing.keys import origin

CHUNK = 5_000  # rows held at once

_MOMENT = """
SELECT coalesce((SELECT max(id) FROM audit_entry WHERE table_name = ANY(%s)), 0),
    ARRAY(SELECT x::text::bigint FROM pg_snapshot_xip(pg_current_snapshot()) x)
"""
_CARRIED = """
SELECT through, table_name, row_id, operation, changes::text FROM audit_carried
ORDER BY through, table_name, row_id, operation
"""
# As the bytes of an entry spell a number that canonical JSON has not (audit.sealing.payload).
_loads = json.JSONDecoder(parse_float=lambda digits: {"number": digits}).decode


def table_lines(tables: Sequence[GovernedTable] | None = None) -> Iterator[bytes]:
    """The lines, to stream. Everything in one snapshot, which stays open until the last."""
    chosen = governed_tables() if tables is None else tables
    own = not connection.in_atomic_block
    with transaction.atomic():
        with connection.cursor() as cursor:
            if own:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            cursor.execute("SET LOCAL timezone = 'UTC'")
        yield _about(chosen).line()
        yield from (line(["carried", *row]) for row in _rows(_CARRIED))
        count = 0
        sql = f"WITH {replay.standing(chosen)} SELECT t, r, v::text FROM standing"  # noqa: S608
        for table, row, values in _rows(sql):
            count += 1
            pairs = _loads(str(values))
            yield line(["row", table, row, {name: pair[1] for name, pair in pairs.items()}])
        yield line(["end", count])


def _about(tables: Sequence[GovernedTable]) -> About:
    names = [table.name for table in tables]
    former = {old: now for old, now in FORMER.items() if now in names}
    with connection.cursor() as cursor:
        cursor.execute(_MOMENT, [[*names, *former]])
        through, unfinished = cursor.fetchone()
    return About(
        origin=origin(),
        through=through,
        unfinished=list(unfinished),
        columns={t.name: {c.name: t.is_number(c) for c in t.every} for t in tables},
        former=former,
        renamed={t.name: dict(former_columns(t.name)) for t in tables if former_columns(t.name)},
        stated={t.name: {p: c.name for p, c in t.stated.items()} for t in tables if t.stated},
    )


def _rows(sql: str) -> Iterator[tuple[object, ...]]:
    """Read through a cursor in the database, a chunk at a time."""
    name = "tables_taken"
    with connection.cursor() as cursor:
        cursor.execute(f"DECLARE {name} NO SCROLL CURSOR FOR {sql}")
        while True:
            cursor.execute(f"FETCH {CHUNK} FROM {name}")
            rows = cursor.fetchall()
            if not rows:
                break
            yield from rows
        cursor.execute(f"CLOSE {name}")
