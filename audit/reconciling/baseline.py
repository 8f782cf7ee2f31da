"""Where the history begins to answer for a column: what stood there before is written down.

A table may have rows, or a column values, that were there before their history: those of a database
that is older than its triggers, or that a migration filled. After migrating, columns that no
baseline names yet get one, and what stands in them without an entry becomes an entry. Never what an
entry speaks against, and never a column that has a baseline: there it is a difference.
"""

from collections.abc import Sequence

from django.db import connection

from audit.capture.context import recorded
from audit.capture.governed import ROW, literal
from audit.reconciling import replay
from audit.reconciling.models import Baseline
from audit.reconciling.tables import GovernedTable, governed_tables
from audit.vocabulary import register

WRITTEN = register("baseline.written", "Wrote down as it stood")
REASON = "It stood there before the history answered for it."

Columns = dict[str, list[str]]


def extend_baseline() -> int:
    """Give every column that has none its baseline; returns how many rows were written down.

    Run as the tables' owner, after migrating.
    """
    new = _new_columns(governed_tables())
    if not new:
        return 0
    tables = [table for table in governed_tables() if table.name in new]
    with recorded(by=None, action=WRITTEN, reason=REASON), connection.cursor() as cursor:
        cursor.execute(replay.SETTINGS)
        rows = sum(_write(table, new[table.name]) for table in tables)
        Baseline.objects.create(columns=new, rows=rows)
    return rows


def _new_columns(tables: Sequence[GovernedTable]) -> Columns:
    known: dict[str, set[str]] = {}
    for columns in Baseline.objects.values_list("columns", flat=True):
        for table, names in columns.items():
            known.setdefault(table, set()).update(names)
    new = {
        table.name: [c.name for c in table.every if c.name not in known.get(table.name, ())]
        for table in tables
    }
    return {name: columns for name, columns in new.items() if columns}


def _write(table: GovernedTable, columns: Sequence[str]) -> int:
    """Rows that no entry speaks of, if all columns are new; else the new columns of rows that are.

    `?` asks for a key: a column that the history never gave a value, and that has one.
    """
    whole = set(columns) >= {column.name for column in table.every}
    listed = ", ".join(literal(name) for name in columns)
    unsaid = (
        "SELECT jsonb_object_agg(p.key, p.value) FROM jsonb_each(s.v) p"  # noqa: S608
        f" WHERE p.key IN ({listed}) AND NOT coalesce(k.said ? p.key, false)"
    )
    made = "k.r IS NULL" if whole else "false"
    sql = f"""
WITH {replay.known([table])}, {replay.standing([table])}, written AS (
    SELECT s.r, CASE WHEN {made} THEN 'created' ELSE 'changed' END AS op,
        CASE WHEN {made} THEN s.v ELSE ({unsaid}) END AS c
    FROM standing s LEFT JOIN known k ON k.t = s.t AND k.r = s.r
    WHERE ({made}) OR (k.r IS NOT NULL AND NOT k.gone)
)
INSERT INTO audit_baselinerow ({ROW}, changes)
SELECT w.op, {literal(table.name)}, w.r, {table.naming.columns()}, w.c
FROM written w JOIN {table.name} n ON n.{table.key} = w.r{table.naming.source()}
WHERE w.c IS NOT NULL ORDER BY w.r
"""  # noqa: S608  names of the models, no input
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return int(cursor.rowcount)
